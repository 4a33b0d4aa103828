//! A watch of the background as it is kept over an interruption: it goes on as if there had
//! been none, to the last bit.

use serde::{Deserialize, Serialize};

use super::flow::Flow;
use super::reference::{Reference, Seen};
use super::small::Small;
use super::watch::StandingWatch;

/// All that a [`StandingWatch`] knows. Numbers are written as their bits: what JSON makes of
/// a decimal fraction may be off by the last of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptWatch {
    hfov_deg: u64,
    reference: Option<Reference>,
    pictures: Vec<KeptSeen>,
    frame_px: Option<[u32; 2]>,
    looked_at_s: Option<u64>,
    began_s: Option<u64>,
    searched_at_s: Option<u64>,
    found_at_s: Option<u64>,
    doubtful_at_s: Option<u64>,
    looks: Vec<[u64; 2]>,
    last: Option<[u64; 10]>,
    moved: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct KeptSeen {
    bodies: Vec<[u32; 4]>,
    width: usize,
    height: usize,
    level: Vec<u32>,
}

impl StandingWatch {
    /// To be gone on from later.
    pub fn keep(&self) -> KeptWatch {
        let pictures = self.pictures.iter().map(|seen| KeptSeen {
            bodies: seen.bodies.iter().map(|b| b.map(f32::to_bits)).collect(),
            width: seen.picture.width,
            height: seen.picture.height,
            level: seen.picture.level.iter().map(|v| v.to_bits()).collect(),
        });
        KeptWatch {
            hfov_deg: self.hfov_deg.to_bits(),
            reference: self.reference.clone(),
            pictures: pictures.collect(),
            frame_px: self.frame_px,
            looked_at_s: self.looked_at_s.map(f64::to_bits),
            began_s: self.began_s.map(f64::to_bits),
            searched_at_s: self.searched_at_s.map(f64::to_bits),
            found_at_s: self.found_at_s.map(f64::to_bits),
            doubtful_at_s: self.doubtful_at_s.map(f64::to_bits),
            looks: self
                .looks
                .iter()
                .map(|(at_s, by)| [at_s.to_bits(), by.to_bits()])
                .collect(),
            last: self.last.map(|flow| {
                let [a, b] = flow.half;
                let mut all = [a; 10];
                all[..8].copy_from_slice(&flow.p);
                all[9] = b;
                all.map(f64::to_bits)
            }),
            moved: self.moved,
        }
    }
}

impl From<KeptWatch> for StandingWatch {
    fn from(kept: KeptWatch) -> StandingWatch {
        // A file may have been changed by hand.
        let whole = |seen: &KeptSeen| seen.width.checked_mul(seen.height) == Some(seen.level.len());
        let pictures = kept.pictures.into_iter().filter(whole).map(|seen| {
            let level = seen.level.into_iter().map(f32::from_bits).collect();
            let bodies = seen.bodies.into_iter().map(|b| b.map(f32::from_bits));
            Seen {
                bodies: bodies.collect(),
                picture: Small {
                    width: seen.width,
                    height: seen.height,
                    level,
                },
            }
        });
        let looks = kept.looks.into_iter();
        StandingWatch {
            pictures: pictures.collect(),
            frame_px: kept.frame_px,
            looked_at_s: kept.looked_at_s.map(f64::from_bits),
            began_s: kept.began_s.map(f64::from_bits),
            searched_at_s: kept.searched_at_s.map(f64::from_bits),
            found_at_s: kept.found_at_s.map(f64::from_bits),
            doubtful_at_s: kept.doubtful_at_s.map(f64::from_bits),
            looks: looks
                .map(|[at_s, by]| (f64::from_bits(at_s), f64::from_bits(by)))
                .collect(),
            last: kept.last.map(|all| {
                let all = all.map(f64::from_bits);
                let [p @ .., a, b] = all;
                Flow { p, half: [a, b] }
            }),
            moved: kept.moved,
            ..StandingWatch::new(f64::from_bits(kept.hfov_deg), kept.reference)
        }
    }
}
