//! What `convert` and `archive export` share for taking the identity out.

use std::path::Path;

use ecgkeep::Deidentifier;
use ecgkeep::deidentify::{Dates, Taken};
use ecgkeep::format::{Error, Kind, Loss};

use super::lies_in;
use crate::args::{DatesName, Identity};

/// What was asked for; `None` where identity stays. `apart` are folders in which neither table nor key may lie, and
/// how they are called.
pub fn deidentifier(args: &Identity, apart: &[(&Path, &str)]) -> Result<Option<Deidentifier>, Error> {
    let secrets = [
        (&args.pseudonym_table, "the table of pseudonyms"),
        (&args.pseudonym_key, "the key of the pseudonyms"),
    ];
    for (secret, name) in secrets {
        let Some(secret) = secret else { continue };
        if let Some((_, called)) = apart.iter().find(|(folder, _)| lies_in(secret, folder)) {
            return Err(Error::new(Kind::Usage, format!("{name} lies {called}"))
                .remedy("keep it apart: it leads back to the patients"));
        }
    }
    let dates = match args.dates {
        DatesName::Shifted => Dates::Shifted,
        DatesName::Year => Dates::YearOnly,
    };
    match (&args.pseudonym_table, &args.pseudonym_key) {
        (Some(table), _) => Deidentifier::with_table(table, dates, Box::new(random)).map(Some),
        (None, Some(key)) => Deidentifier::keyed(key, dates).map(Some),
        (None, None) => Ok(None),
    }
}

fn random(bytes: &mut [u8]) -> Result<(), Error> {
    getrandom::fill(bytes).map_err(|error| {
        Error::new(Kind::Io, "the system gives no random numbers")
            .because(std::io::Error::other(error.to_string()))
    })
}

/// What became of the content, in a few words: whether identity was taken out, and whether the losses are listed beside.
pub fn kept(losses: usize, is_taken: bool, listed: bool) -> String {
    let listed = if listed { " listed" } else { "" };
    let kept = match losses {
        0 if !is_taken => "everything kept".to_owned(),
        0 => "nothing else lost".to_owned(),
        1 => format!("1 loss{listed}"),
        count => format!("{count} losses{listed}"),
    };
    if is_taken { format!("identity taken out, {kept}") } else { kept }
}

/// What was taken and lost, a line each.
pub fn said(losses: &[Loss], taken: &[Taken]) -> Vec<String> {
    let fields: Vec<String> =
        taken.iter().map(|one| format!("{} ({})", one.field, one.action.past())).collect();
    let taken = (!fields.is_empty()).then(|| format!("taken out: {}", fields.join(", ")));
    taken.into_iter().chain(losses.iter().map(|loss| format!("not kept: {loss}"))).collect()
}
