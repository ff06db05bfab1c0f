//! The author of an annotation set: a device or a person, and the organisation that either worked for.

use ecgkeep_recording::{Acquisition, Device, Person};

use crate::emit::Emitter;
use crate::node::Node;
use crate::series::{extension, text_of, write_extension};
use crate::values;

/// Who made an annotation set.
#[derive(Clone, PartialEq, Eq)]
pub(crate) enum Author {
    Device(Device),
    Person(Person),
}

/// Whoever made a set, and the organisation for which.
pub(crate) fn read(author: Node<'_>) -> (Option<Author>, Option<String>) {
    let Some(entity) = author.child("assignedEntity") else {
        author.release();
        return (None, None);
    };
    let organisation = entity.child("representedAuthoringOrganization");
    let institution = organisation.and_then(|organisation| text_of(organisation, "name"));
    let kind = entity.child("assignedAuthorType");
    let device = kind.and_then(|kind| kind.child("assignedDevice"));
    if let Some(node) = device {
        let maker = node.descend(&["playedManufacturedDevice", "manufacturerOrganization"]);
        let device = Device {
            manufacturer: maker.and_then(|maker| text_of(maker, "name")),
            model: text_of(node, "manufacturerModelName"),
            serial: extension(node),
            software: text_of(node, "softwareName"),
            id: extension(entity),
        };
        return (Some(Author::Device(device)), institution);
    }
    let name = kind.and_then(|kind| kind.descend(&["assignedPerson", "name"])).map(values::name);
    let id = entity.child("id").and_then(values::identifier);
    if name.is_none() && id.is_none() {
        return (None, institution);
    }
    (Some(Author::Person(Person { name: name.unwrap_or_default(), id })), institution)
}

/// Writes the analysing device as the author of a set; nothing where nothing is stated.
pub(crate) fn write_analyser(out: &mut Emitter<'_>, acquisition: &Acquisition) {
    let Device { manufacturer, model, serial, software, id } = &acquisition.analyser;
    out.optional("author", |out| {
        out.optional("assignedEntity", |out| {
            write_extension(out, id.as_deref());
            let is_device = !acquisition.analyser.is_empty();
            let with = |out: &mut Emitter<'_>, name, inside: &dyn Fn(&mut Emitter<'_>)| {
                out.with(name, &[], is_device, inside);
            };
            with(out, "assignedAuthorType", &|out| {
                with(out, "assignedDevice", &|out| {
                    write_extension(out, serial.as_deref());
                    out.text("manufacturerModelName", model.as_deref());
                    out.text("softwareName", software.as_deref());
                    out.optional("playedManufacturedDevice", |out| {
                        out.optional("manufacturerOrganization", |out| {
                            out.text("name", manufacturer.as_deref())
                        });
                    });
                });
            });
            out.optional("representedAuthoringOrganization", |out| {
                out.text("name", acquisition.analysing_institution.as_deref());
            });
        });
    });
}

/// Writes a person as the author of a set.
pub(crate) fn write_person(out: &mut Emitter<'_>, person: &Person) {
    out.required("author", |out| {
        out.required("assignedEntity", |out| {
            if let Some(id) = &person.id {
                values::write_identifier(out, id);
            }
            out.optional("assignedAuthorType", |out| {
                out.optional("assignedPerson", |out| values::write_name(out, &person.name));
            });
        });
    });
}
