//! Videos, the pose model and what comes of rendered skaters.

#![allow(missing_docs, reason = "a test")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod capture_feed;
mod capture_files;
mod knocked;
mod outside_pedestrians;
mod people;
mod pose_cores;
mod pose_golden;
mod pose_scene;
mod rejudge;
mod review_cores;
mod review_folder;
mod truth_clips;
mod two_cameras;
