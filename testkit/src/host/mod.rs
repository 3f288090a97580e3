//! Two CLAP hosts: [`offline`] works as a careful host does, [`raw`] may break every rule.

pub mod offline;
pub mod raw;
