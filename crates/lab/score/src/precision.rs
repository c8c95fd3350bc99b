//! Precision, recall and average precision of boxes with scores against true boxes.
//!
//! The rules are those of the COCO evaluation: T.-Y. Lin et al., "Microsoft COCO: common objects in context", ECCV 2014,
//! with its evaluation page (cocodataset.org, "Detection evaluation") and reference code; precision is interpolated as
//! in M. Everingham et al., IJCV 88 (2010), sec. 4.2, at 101 recalls. One thing differs: no image has a limit of boxes.
//!
//! In each image the claimed boxes, surest first, each take the true box of most overlap that is still free; a required
//! one goes before one that is not. A claim that takes a true box which is not required counts for nothing and against
//! nothing, and so does a claim of which enough lies in a left-out region, of which there are enough for all.

use crate::overlap::{overlap, share_inside};

/// Number of recalls at which precision is taken: 0, 0.01, ... 1.
const RECALLS: usize = 101;
/// Number of overlaps over which average precision is averaged.
const OVERLAPS: usize = 10;
/// A claim must overlap by this much less than the whole at most: rounding must not forbid equal boxes.
const WHOLE: f64 = 1.0 - 1e-10;
/// Less overlap than this is never asked for.
const LEAST_OVERLAP: f64 = 0.05;

/// The overlaps over which average precision is averaged: 0.5, 0.55, ... 0.95.
#[must_use]
pub fn overlaps() -> [f64; OVERLAPS] {
    let step = (0.95 - 0.5) / (OVERLAPS - 1) as f64;
    std::array::from_fn(|i| {
        if i + 1 == OVERLAPS {
            0.95
        } else {
            0.5 + i as f64 * step
        }
    })
}

/// A true box of an image.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// x0, y0, x1, y1, pixels.
    pub box_px: [f64; 4],
    /// Whether it must be found; whoever finds one that is not required gains and loses nothing.
    pub required: bool,
    /// A region that was not labelled rather than one object; it is never required, and it excuses any number of claims.
    pub region: bool,
}

/// A claimed box of an image.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Claimed {
    /// x0, y0, x1, y1, pixels.
    pub box_px: [f64; 4],
    /// How sure it is, in any unit.
    pub score: f64,
    /// Whether it counts as false where it takes no true box.
    pub may_be_false: bool,
}

/// What became of a claimed box.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// It found the required true box of this position.
    Right(usize),
    /// It found nothing.
    False,
    /// It counts for nothing and against nothing.
    LeftOut,
}

/// The boxes of an image, and which overlap.
#[derive(Debug, Clone, PartialEq)]
pub struct ImageBoxes {
    wanted: Vec<Wanted>,
    claimed: Vec<Claimed>,
    /// For each claim the true boxes that it overlaps, ascending, with the overlap.
    near: Vec<Vec<(usize, f64)>>,
    /// Claims, surest first.
    surest_first: Vec<usize>,
}

impl ImageBoxes {
    /// The boxes of an image. O(wanted x claimed).
    #[must_use]
    pub fn new(wanted: Vec<Wanted>, claimed: Vec<Claimed>) -> Self {
        let shared = |w: &Wanted, c: &Claimed| match w.region {
            true => share_inside(&c.box_px, &w.box_px),
            false => overlap(&c.box_px, &w.box_px),
        };
        let near_of = |c: &Claimed| {
            let all = wanted
                .iter()
                .enumerate()
                .map(|(k, w)| (k, shared(w, c)))
                .filter(|&(_, shared)| shared >= LEAST_OVERLAP);
            all.collect()
        };
        let near = claimed.iter().map(near_of).collect();
        let mut surest_first: Vec<usize> = (0..claimed.len()).collect();
        surest_first.sort_by(|&a, &b| claimed[b].score.total_cmp(&claimed[a].score));
        Self {
            wanted,
            claimed,
            near,
            surest_first,
        }
    }

    /// The same boxes, of which only those are required, and may be false, that also meet a further condition.
    #[must_use]
    pub fn restricted(
        &self,
        required: impl Fn(usize, &Wanted) -> bool,
        may_be_false: impl Fn(usize, &Claimed) -> bool,
    ) -> Self {
        let mut image = self.clone();
        for (k, w) in image.wanted.iter_mut().enumerate() {
            w.required = w.required && required(k, w);
        }
        for (k, c) in image.claimed.iter_mut().enumerate() {
            c.may_be_false = c.may_be_false && may_be_false(k, c);
        }
        image
    }

    /// True boxes that must be found.
    #[must_use]
    pub fn required(&self) -> usize {
        self.wanted.iter().filter(|w| is_required(w)).count()
    }

    /// What becomes of each claim where at least `least_overlap` (0.05 to 1) is asked for. Of equal overlaps the later
    /// true box is taken, as in the reference code.
    #[must_use]
    pub fn fates(&self, least_overlap: f64) -> Vec<Fate> {
        let mut taken = vec![false; self.wanted.len()];
        let mut fates = vec![Fate::False; self.claimed.len()];
        for &c in &self.surest_first {
            let found = self
                .best(c, true, least_overlap, &taken)
                .or_else(|| self.best(c, false, least_overlap, &taken));
            fates[c] = match found {
                Some(w) if is_required(&self.wanted[w]) => Fate::Right(w),
                None if self.claimed[c].may_be_false => Fate::False,
                _ => Fate::LeftOut,
            };
            if let Some(w) = found {
                taken[w] = true;
            }
        }
        fates
    }

    /// The free true box of most overlap among those that are, or are not, required.
    fn best(&self, c: usize, required: bool, least_overlap: f64, taken: &[bool]) -> Option<usize> {
        let mut least = least_overlap.min(WHOLE);
        let mut best = None;
        for &(w, shared) in &self.near[c] {
            let wanted = &self.wanted[w];
            let free = wanted.region || !taken[w];
            if free && is_required(wanted) == required && shared >= least {
                (best, least) = (Some(w), shared);
            }
        }
        best
    }
}

fn is_required(wanted: &Wanted) -> bool {
    wanted.required && !wanted.region
}

/// Precision against recall over the scores.
#[derive(Debug, Clone, PartialEq)]
pub struct PrecisionCurve {
    /// True boxes that must be found.
    pub required: usize,
    /// Claims that found one.
    pub right: usize,
    /// Claims that found nothing.
    pub false_ones: usize,
    /// Mean of the interpolated precision at 101 recalls; `None` where nothing is required.
    pub average_precision: Option<f64>,
}

/// The curve of all images where at least `least_overlap` is asked for. Claims of equal score keep the order of the
/// images. O(n log n) beyond the matching.
#[must_use]
pub fn precision_curve(images: &[ImageBoxes], least_overlap: f64) -> PrecisionCurve {
    let required: usize = images.iter().map(ImageBoxes::required).sum();
    let mut claims: Vec<(f64, bool)> = Vec::new();
    for image in images {
        let fates = image.fates(least_overlap);
        // surest first here too: of equal scores over all images the order within one must hold
        for &c in &image.surest_first {
            if fates[c] != Fate::LeftOut {
                claims.push((image.claimed[c].score, fates[c] != Fate::False));
            }
        }
    }
    claims.sort_by(|a, b| b.0.total_cmp(&a.0));
    let right = claims.iter().filter(|c| c.1).count();
    PrecisionCurve {
        required,
        right,
        false_ones: claims.len() - right,
        average_precision: (required > 0).then(|| interpolated(&claims, required)),
    }
}

/// Mean over 101 recalls of the best precision at that recall or above; 0 where the recall is never reached.
fn interpolated(claims: &[(f64, bool)], required: usize) -> f64 {
    let mut right = 0;
    let mut points: Vec<(f64, f64)> = Vec::with_capacity(claims.len());
    for (k, &(_, is_right)) in claims.iter().enumerate() {
        right += usize::from(is_right);
        points.push((
            right as f64 / required as f64,
            right as f64 / (k + 1) as f64,
        ));
    }
    let mut best = 0.0_f64;
    for point in points.iter_mut().rev() {
        best = best.max(point.1);
        point.1 = best;
    }
    let precision_at = |recall: f64| {
        let at = points.partition_point(|p| p.0 < recall);
        points.get(at).map_or(0.0, |p| p.1)
    };
    // recalls as the reference code has them: multiples of a rounded hundredth, and 1
    let recall = |i: usize| {
        if i + 1 == RECALLS {
            1.0
        } else {
            i as f64 * 0.01
        }
    };
    (0..RECALLS).map(|i| precision_at(recall(i))).sum::<f64>() / RECALLS as f64
}

/// Mean of the average precision over [`overlaps`]; `None` where nothing is required.
#[must_use]
pub fn mean_average_precision(images: &[ImageBoxes]) -> Option<f64> {
    let all = overlaps().map(|least| precision_curve(images, least).average_precision);
    let sum: f64 = all.iter().flatten().sum();
    all.iter()
        .all(Option::is_some)
        .then(|| sum / OVERLAPS as f64)
}
