//! STAND-IN until the store has these.
#![allow(missing_docs)]
use std::collections::BTreeMap;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SkaterId(pub i64);
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PassKey { pub session: i64, pub number: u32 }
#[derive(Debug, Clone, PartialEq)]
pub struct Shot { pub captured_at_s: f64, pub jpeg: Vec<u8> }
#[derive(Debug, Clone, PartialEq)]
pub struct PictureStrip { pub push: u32, pub rule: String, pub flagged_at_s: f64, pub size_px: [u32; 2], pub frame_px: [u32; 2], pub faces_blurred: bool, pub shots: Vec<Shot> }
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict { Confirmed, Dismissed }
#[derive(Debug, Clone, PartialEq)]
pub struct StripInfo { pub id: i64, pub push: u32, pub rule: String, pub flagged_at_s: f64, pub bytes: u64, pub faces_blurred: bool }
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PushNote { pub verdicts: BTreeMap<String, Verdict>, pub comment: String, pub starred: bool }
