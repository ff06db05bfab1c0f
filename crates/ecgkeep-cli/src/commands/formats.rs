//! `formats`: what can be read and written.

use ecgkeep::FORMATS;
use ecgkeep::format::{Carries, Error, Format};
use ecgkeep::recording::Field;
use serde::Serialize;

use crate::args::Formats;
use crate::exit::Exit;
use crate::output::{Outcome, data, print};

#[derive(Serialize)]
struct Body {
    title: &'static str,
    standard: &'static str,
    endings: &'static [&'static str],
    reads: &'static str,
    writes: &'static str,
    status: &'static str,
    in_this_build: bool,
    options: Vec<OptionBody>,
    #[serde(skip_serializing_if = "Option::is_none")]
    carries: Option<Vec<CarriesBody>>,
}

#[derive(Serialize)]
struct OptionBody {
    name: &'static str,
    values: &'static [&'static str],
    default: &'static str,
    help: &'static str,
}

/// A field and how the format carries it.
#[derive(Serialize)]
struct CarriesBody {
    field: &'static str,
    carries: &'static str,
    why: Option<&'static str>,
    clause: Option<&'static str>,
}

fn carries(format: &dyn Format) -> Vec<CarriesBody> {
    let body = |field: &Field| {
        let (carries, why, clause) = match format.carries(*field) {
            Carries::Exact => ("exact", None, None),
            Carries::Limited { why, clause } => ("limited", Some(why), Some(clause)),
            Carries::No { why, clause } => ("no", Some(why), Some(clause)),
        };
        CarriesBody { field: field.name(), carries, why, clause }
    };
    Field::ALL.iter().map(body).collect()
}

pub fn run(args: &Formats, json: bool) -> Result<Exit, Error> {
    if args.carries && !json {
        data(&ecgkeep::carries_table());
        data(&ecgkeep::carries_list());
        return Ok(Exit::Done);
    }
    let mut exit = Exit::Done;
    for format in FORMATS {
        let about = format.about();
        let options = format.options();
        if json {
            let options = options
                .iter()
                .map(|spec| OptionBody {
                    name: spec.name,
                    values: spec.values,
                    default: spec.default,
                    help: spec.help,
                })
                .collect();
            let body = Body {
                title: about.title,
                standard: about.standard,
                endings: about.endings,
                reads: about.reads,
                writes: about.writes,
                status: about.status,
                in_this_build: format.available().is_ok(),
                options,
                carries: args.carries.then(|| carries(*format)),
            };
            let outcome = Outcome::done(String::new(), body);
            exit = exit.or(print("ecgkeep-formats/1", true, about.id.as_ref(), outcome));
            continue;
        }
        let writes = if about.writes.is_empty() { "nothing" } else { about.writes };
        let mut text = format!("{}  {} ({})\n", about.id, about.title, about.standard);
        text.push_str(&format!("  endings  {}\n", about.endings.join(", ")));
        text.push_str(&format!(
            "  reads    {}\n  writes   {writes}\n  tested   {}\n",
            about.reads, about.status
        ));
        if let Err(error) = format.available() {
            text.push_str(&format!("  build    {error}\n"));
        }
        for spec in options {
            let values = spec.values.join("|");
            text.push_str(&format!(
                "  option   {}={values} (default {}): {}\n",
                spec.name, spec.default, spec.help
            ));
        }
        data(&text);
    }
    Ok(exit)
}
