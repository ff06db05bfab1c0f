//! register.jsonl: whose recordings were destroyed. Some laws ask for such a list; it is for its owner's eyes.

use std::path::Path;

use ecgkeep_format::Result;

use crate::archive::Archive;
use crate::fault::{cannot_read, cannot_write};
use crate::storage::Readers;

const REGISTER: &str = "register.jsonl";

impl Archive {
    /// Adds lines, each with its line feed, to the register, and makes them lasting. It is readable by its owner only.
    /// # Errors
    /// [`Kind::Io`](ecgkeep_format::Kind::Io).
    pub fn register(&self, lines: &[u8]) -> Result<()> {
        let path = Path::new(REGISTER);
        let full = self.folder.join(path);
        let failed = |error| cannot_write(path, error);
        if self.storage.size(&full).map_err(|error| cannot_read(path, error))?.is_none() {
            match self.storage.create(&full, b"", Readers::Owner) {
                // Another process made it meanwhile.
                Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
                made => made.map_err(failed)?,
            }
        }
        self.storage.append(&full, lines).map_err(failed)?;
        self.storage.sync(&full).map_err(failed)?;
        self.storage.sync_folder(&self.folder).map_err(failed)
    }
}
