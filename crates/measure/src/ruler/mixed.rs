//! Readings of several persons: what is common to all, what belongs to a person, what
//! is left. Restricted maximum likelihood of a linear model with an intercept for each
//! person.

use super::Pair;

/// What the model finds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mixed {
    /// Reading less reference at the centre, common to all.
    pub offset: f64,
    /// Its standard error.
    pub offset_error: f64,
    /// Change of it for each unit of the reference; 0 where it was not asked for.
    pub slope: f64,
    /// Its standard error.
    pub slope_error: f64,
    /// Mean of the references.
    pub centre: f64,
    /// Standard deviation from person to person.
    pub between: f64,
    /// Standard deviation from hold to hold.
    pub within: f64,
}

/// Largest ratio of the two variances that is looked at, as a logarithm, and the smallest.
const LOG_RATIO: [f64; 2] = [-16.0, 12.0];
/// Steps over the whole range, and then narrowings around the best one.
const STEPS: usize = 120;
const NARROWINGS: usize = 80;

/// Sums of one fit at a ratio of the variances: between persons over from hold to hold.
struct Fit {
    offset: f64,
    slope: f64,
    /// Inverse of the normal matrix, its diagonal.
    offset_factor: f64,
    slope_factor: f64,
    /// Variance from hold to hold.
    within2: f64,
    /// Twice the negative restricted log-likelihood, less a constant.
    deviance: f64,
}

/// The model of these pairs, with a slope where asked for. `None` with fewer than two
/// persons, or not more pairs than persons and numbers asked for.
pub fn mixed(pairs: &[Pair], sloped: bool) -> Option<Mixed> {
    let mut people: Vec<usize> = pairs.iter().map(|h| h.person).collect();
    people.sort_unstable();
    people.dedup();
    let asked = 1 + usize::from(sloped);
    if people.len() < 2 || pairs.len() < people.len() + asked {
        return None;
    }
    let centre = pairs.iter().map(|h| h.reference).sum::<f64>() / pairs.len() as f64;
    // Of each person: number of holds, and sums of reference, difference and products.
    let groups: Vec<Sums> = people
        .iter()
        .map(|p| Sums::of(pairs.iter().filter(|h| h.person == *p), centre))
        .collect();
    let fit_at = |log_ratio: f64| fit(&groups, log_ratio.exp(), sloped, pairs.len());
    let step = (LOG_RATIO[1] - LOG_RATIO[0]) / STEPS as f64;
    let places = (0..=STEPS).map(|k| LOG_RATIO[0] + step * k as f64);
    let (mut best, _) = places
        .filter_map(|at| Some((at, fit_at(at)?.deviance)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let mut width = step;
    for _ in 0..NARROWINGS {
        width *= 0.7;
        for at in [best - width, best + width] {
            if let (Some(there), Some(here)) = (fit_at(at), fit_at(best))
                && there.deviance < here.deviance
            {
                best = at;
            }
        }
    }
    // At the lower end there is no difference between persons at all.
    let ratio = if best <= LOG_RATIO[0] + step {
        0.0
    } else {
        best.exp()
    };
    let found = fit(&groups, ratio, sloped, pairs.len())?;
    Some(Mixed {
        offset: found.offset,
        offset_error: (found.within2 * found.offset_factor).sqrt(),
        slope: found.slope,
        slope_error: (found.within2 * found.slope_factor).sqrt(),
        centre,
        between: (ratio * found.within2).sqrt(),
        within: found.within2.sqrt(),
    })
}

/// Sums over the holds of one person; x is the reference less the centre, y the reading less
/// the reference.
struct Sums {
    n: f64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
}

impl Sums {
    fn of<'a>(pairs: impl Iterator<Item = &'a Pair>, centre: f64) -> Self {
        let mut s = Sums {
            n: 0.0,
            x: 0.0,
            y: 0.0,
            xx: 0.0,
            xy: 0.0,
            yy: 0.0,
        };
        for h in pairs {
            let (x, y) = (h.reference - centre, h.reading - h.reference);
            s.n += 1.0;
            s.x += x;
            s.y += y;
            s.xx += x * x;
            s.xy += x * y;
            s.yy += y * y;
        }
        s
    }
}

/// Generalised least squares: the inverse of a person's covariance, over the variance from
/// hold to hold, is one less `ratio / (1 + n ratio)` everywhere.
fn fit(groups: &[Sums], ratio: f64, sloped: bool, pairs: usize) -> Option<Fit> {
    let (mut a, mut b, mut d, mut u, mut v, mut yy, mut log_det) =
        (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for s in groups {
        let w = ratio / (1.0 + s.n * ratio);
        a += s.n - w * s.n * s.n;
        b += s.x - w * s.n * s.x;
        d += s.xx - w * s.x * s.x;
        u += s.y - w * s.n * s.y;
        v += s.xy - w * s.x * s.y;
        yy += s.yy - w * s.y * s.y;
        log_det += (1.0 + s.n * ratio).ln();
    }
    let (offset, slope, factors, det, asked) = if sloped {
        let det = a * d - b * b;
        let found = [(d * u - b * v) / det, (a * v - b * u) / det];
        (found[0], found[1], [d / det, a / det], det, 2.0)
    } else {
        (u / a, 0.0, [1.0 / a, 0.0], a, 1.0)
    };
    let left = yy - offset * u - slope * v;
    let free = pairs as f64 - asked;
    if !(det > 0.0 && free > 0.0) {
        return None;
    }
    let within2 = (left / free).max(f64::MIN_POSITIVE);
    Some(Fit {
        offset,
        slope,
        offset_factor: factors[0],
        slope_factor: factors[1],
        within2,
        deviance: free * within2.ln() + log_det + det.ln(),
    })
}
