//! Shapes: IV.A.2.b.

use ecgkeep_format::{Cursor, Result};

use super::u64_of;

/// The shape of data.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Space {
    /// No element at all.
    Null,
    /// One element.
    Scalar,
    /// So many elements in each dimension.
    Simple(Vec<u64>),
}

impl Space {
    pub(super) fn read(cursor: &mut Cursor) -> Result<Space> {
        let (version, rank, flags) = (cursor.u8()?, cursor.u8()?, cursor.u8()?);
        let class = match version {
            1 => {
                cursor.take(5)?;
                u8::from(rank > 0)
            }
            2 => cursor.u8()?,
            other => return Err(cursor.malformed("the version of a dataspace", other, "1 or 2")),
        };
        let shape = (0..rank).map(|_| u64_of(cursor)).collect::<Result<Vec<u64>>>()?;
        if flags & 1 != 0 {
            cursor.take(8 * usize::from(rank))?;
        }
        match class {
            0 => Ok(Space::Scalar),
            1 => Ok(Space::Simple(shape)),
            2 => Ok(Space::Null),
            other => Err(cursor.malformed("the class of a dataspace", other, "0, 1 or 2")),
        }
    }

    /// The number of elements; `None` where it does not fit.
    pub(crate) fn count(&self) -> Option<u64> {
        match self {
            Space::Null => Some(0),
            Space::Scalar => Some(1),
            Space::Simple(shape) => shape.iter().try_fold(1u64, |count, length| count.checked_mul(*length)),
        }
    }
}
