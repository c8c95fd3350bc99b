//! Writers: from the model's types to files that appear whole or not at all.

mod error;
mod layout;
mod map;
mod names;
mod publish;

pub use error::WriteError;
pub use publish::{Header, Publication};
