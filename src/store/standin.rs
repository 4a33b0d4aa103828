//! Stand-in until the real types are merged.
#![allow(missing_docs)]
use std::collections::BTreeMap;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct PassKey {
    pub session: i64,
    pub number: u32,
}
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct PushKey {
    pub pass: PassKey,
    pub position: u32,
}
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    Confirmed,
    Dismissed,
}
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PushNote {
    pub verdicts: BTreeMap<String, Verdict>,
    pub comment: String,
    pub starred: bool,
}
impl Default for crate::rules::AgeGroups {
    fn default() -> Self {
        Self::defaults()
    }
}
