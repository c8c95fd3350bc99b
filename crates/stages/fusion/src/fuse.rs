//! The method, top down.

use crate::bodies::{Landmark, Prior};
use crate::config::Config;
use crate::depth;
use crate::diagnose::diagnose;
use crate::discover::{discover, score_of};
use crate::edge_model::{EdgeModel, Stir};
use crate::grid::Grid;
use crate::journal::Journal;
use crate::limbs::Limbs;
use crate::merge::merge;
use crate::nodes::Stand;
use crate::noise;
use crate::observe::Observations;
use crate::output::scene;
use crate::refine::{Refined, Terms, hang, refine};
use crate::sequential::{Pass, first_pass};
use crate::settle::{Evidence, duplicates, refit, settle};
use crate::sway::Sway;
use corymb_model::diagnostics::{EventKind, EventReason};
use corymb_model::run::{Class, Run};
use corymb_model::scene::Scene;

/// Relative change of the mean radius, in its own spreads, at which the first pass is run again.
const PRIOR_SHIFT: f64 = 1.0;

/// What refinement leaves of a pose's error against those around it: metres, radians.
const LEFT_OF_POSES: (f64, f64) = (0.003, 0.0015);

/// Bodies so far from each other have no box in common, metres.
const APART_M: f64 = 0.1;

/// Steps of refinement before associations change again, and at the end.
pub(crate) const ROUND_STEPS: usize = 2;
pub(crate) const FINAL_STEPS: usize = 3;

/// Everything the rounds share.
pub(crate) struct Work<'a> {
    pub(crate) run: &'a Run,
    pub(crate) config: &'a Config,
    pub(crate) obs: Observations,
    pub(crate) grids: Vec<Grid>,
    pub(crate) limbs: Limbs,
    pub(crate) stand: Stand,
    pub(crate) evidence: Evidence,
    pub(crate) pose_sd: (f64, f64),
    pub(crate) refined: Refined,
    /// Second boxes of a body in an image, a body.
    pub(crate) duplicates: Vec<Vec<usize>>,
    /// Bodies that each image should have shown and did not; empty where nobody counted.
    pub(crate) missed_in: Vec<usize>,
    pub(crate) journal: Journal,
}

/// Fuses the boxes of a run into bodies in space, with their stems and calyx ends, and corrects the poses.
///
/// Method: every image's rig pose is registered to the map so far before its boxes are assigned (one global
/// assignment an image); then rounds of joint refinement, new association against the finished map, discovery of
/// what leftover boxes ask for, and merging. Images without a pose in reach are left out and counted. Cost: linear
/// in the boxes but for the discovery, which grows with the boxes left over.
#[must_use]
pub fn fuse(run: &Run, config: &Config) -> Scene {
    let mut work = Work::new(run, config);
    let mut landmarks = work.begin();
    work.rounds(&mut landmarks);
    if work.evidence.sway.matters() {
        landmarks = work.begin_again(&landmarks);
        work.rounds(&mut landmarks);
    }
    let before = work.owners(&landmarks);
    work.refine(&mut landmarks, FINAL_STEPS);
    work.finish(&mut landmarks);
    let changed = work.changed_hands(&before, &landmarks);
    let mut scene = scene(&work, &landmarks);
    scene.diagnostics = diagnose(&mut work, &landmarks, &scene, Some(changed));
    crate::parts::attach_parts(run, &mut scene, &config.parts);
    scene
}

impl<'a> Work<'a> {
    pub(crate) fn new(run: &'a Run, config: &'a Config) -> Self {
        let mut obs = Observations::new(run, config.border_px);
        let grids = (0..run.frames.len()).map(|f| Grid::new(&obs, f)).collect();
        let stated = &run.noise;
        let body_rate = stated
            .detection_probability
            .iter()
            .find(|(c, _)| c.is_body())
            .map(|x| *x.1);
        let (motion, sway) = match (stated.box_edge_px, config.common_motion) {
            (Some(_), _) => (config.motion_m.0, Sway::default()),
            (None, None) => (config.motion_m.1, Sway::default()),
            (None, Some(share)) => {
                let lasts_s = config.motion_lasts_s;
                (config.motion_m.1, Sway { share, lasts_s })
            }
        };
        let evidence = Evidence {
            model: EdgeModel {
                sigma_px: stated.box_edge_px.unwrap_or(config.box_edge_px).max(0.02),
                occluded: config.occluded_share,
                stir: Stir::alike(motion),
            },
            prior: Prior {
                radius_m: radius_of_stage(run).unwrap_or(config.radius_prior_m),
            },
            detection: body_rate
                .unwrap_or(config.detection_probability)
                .clamp(0.1, 0.98),
            clutter_per_image: stated
                .false_positives_per_frame
                .unwrap_or(config.false_positives_per_frame),
            sway,
            per_m3: config.bodies_per_m3,
        };
        let stand = Stand::new(run, config);
        obs.set_plumb(&stand.placed);
        // what is stated may be wrong: a trajectory that scatters more than it says is believed in its scatter
        let scatter = stand.scatter.unwrap_or((0.0, 0.0));
        Self {
            limbs: Limbs::new(run.orchard.as_ref()),
            pose_sd: (
                stated
                    .pose_translation_m
                    .unwrap_or(config.pose_translation_m)
                    .max(scatter.0)
                    .max(1e-6),
                stated
                    .pose_rotation_rad
                    .unwrap_or(config.pose_rotation_rad)
                    .max(scatter.1)
                    .max(1e-6),
            ),
            stand,
            run,
            config,
            obs,
            grids,
            evidence,
            refined: Refined::default(),
            duplicates: Vec::new(),
            missed_in: Vec::new(),
            journal: Journal::default(),
        }
    }

    fn pass(&self) -> Pass<'_> {
        Pass {
            obs: &self.obs,
            grids: &self.grids,
            limbs: &self.limbs,
            config: self.config,
            prior: self.evidence.prior,
            model: self.evidence.model,
            pose_sd: self.pose_sd,
            detection: self.evidence.detection,
            sway: self.evidence.sway,
        }
    }

    /// The first pass; once more where the bodies turn out to be of another size than was thought, and where depths can be
    /// believed.
    fn begin(&mut self) -> Vec<Landmark> {
        let mut stand = self.stand.clone();
        let mut landmarks = first_pass(&self.pass(), &mut stand);
        let mut again = depth::learn(&mut self.obs, &stand, &landmarks);
        if let Some(learned) = noise::radius(&landmarks) {
            let was = self.evidence.prior.radius_m;
            self.evidence.prior.radius_m = learned;
            again |= (learned.0 - was.0).abs() > PRIOR_SHIFT * learned.1;
        }
        if again {
            stand.reset();
            landmarks = first_pass(&self.pass(), &mut stand);
        }
        self.stand = stand;
        self.obs.tracks.learn(&landmarks);
        self.journal.count(EventKind::Begun, landmarks.len());
        self.journal
            .close_round(&landmarks, None, &self.evidence.model);
        landmarks
    }

    /// The first pass anew from where the poses are now: what it had to guess of motion the run has told.
    fn begin_again(&mut self, before: &[Landmark]) -> Vec<Landmark> {
        let mut pass = self.pass();
        pass.pose_sd = LEFT_OF_POSES;
        let mut stand = self.stand.clone();
        let landmarks = first_pass(&pass, &mut stand);
        self.stand = stand;
        self.journal.count(EventKind::Dropped, before.len());
        self.journal.count(EventKind::Begun, landmarks.len());
        self.journal
            .close_round(&landmarks, None, &self.evidence.model);
        landmarks
    }

    /// Refinement and new association in turns, until little changes or the limit is reached.
    fn rounds(&mut self, landmarks: &mut Vec<Landmark>) {
        for round in 0..self.config.rounds {
            let before = self.owners(landmarks);
            self.refine(landmarks, ROUND_STEPS);
            self.learn(landmarks);
            self.associate(landmarks);
            let changed = self.changed_hands(&before, landmarks);
            let model = self.evidence.model;
            self.journal
                .close_round(landmarks.as_slice(), Some(changed), &model);
            if round > 0 && (changed as f64) < self.config.settled_share * before.len() as f64 {
                break;
            }
        }
    }

    pub(crate) fn refine(&mut self, landmarks: &mut [Landmark], iterations: usize) {
        let mounts = self.run.cameras.len() > 1;
        let terms = Terms {
            model: self.evidence.model,
            prior: self.evidence.prior,
            pose_sd: self.pose_sd,
            mount_sd: mounts.then_some((
                self.config.mount_translation_m,
                self.config.mount_rotation_rad,
            )),
            hang_m: hang(&self.limbs, landmarks),
            iterations,
            deviations: iterations == FINAL_STEPS,
        };
        self.refined = refine(&self.obs, &mut self.stand, &self.limbs, landmarks, &terms);
    }

    /// Takes noise levels from the run where it shows them.
    pub(crate) fn learn(&mut self, landmarks: &[Landmark]) {
        if let Some((model, _)) =
            noise::edge_model(&self.obs, &self.stand, landmarks, &self.evidence.model)
        {
            self.evidence.model = model;
        }
        if self.config.common_motion.is_some() {
            self.evidence.sway =
                Sway::learn(&self.obs, &self.stand, landmarks, &self.evidence.model);
        }
        depth::learn(&mut self.obs, &self.stand, landmarks);
        self.evidence.per_m3 = noise::density(landmarks).unwrap_or(self.evidence.per_m3);
        if let Some(r) = noise::radius(landmarks) {
            self.evidence.prior.radius_m = r;
        }
        if self.run.noise.pose_translation_m.is_none()
            && let Some((t, r)) = noise::poses(&self.stand)
        {
            self.pose_sd = (t.max(1e-4), r.max(1e-5));
        }
    }

    /// Releases, discovers, merges, and counts again.
    fn associate(&mut self, landmarks: &mut Vec<Landmark>) {
        self.forget_lone(landmarks, false);
        for _ in 0..2 {
            settle(
                &mut self.obs,
                &self.grids,
                &self.stand,
                landmarks,
                &self.evidence,
            );
            refit(&self.obs, &self.stand, landmarks, &self.evidence);
            self.forget_lone(landmarks, true);
            self.drop_needless(landmarks);
            if let Some((p, _)) = noise::detection(landmarks) {
                self.evidence.detection = p;
            }
            let merged = merge(
                &self.obs,
                &self.stand,
                landmarks,
                &self.evidence,
                &mut self.journal,
            );
            let added = discover(&self.pass(), &self.stand, landmarks, &self.evidence);
            self.note_begun(&landmarks[landmarks.len() - added..]);
            // a few are as well met in the next round
            if ((merged + added) as f64) < self.config.settled_share * landmarks.len() as f64 {
                break;
            }
        }
    }

    /// For each box the body that it is given to.
    fn owners(&self, landmarks: &[Landmark]) -> Vec<Option<usize>> {
        let mut of = vec![None; self.obs.boxes.len()];
        for (body, l) in landmarks.iter().enumerate() {
            for &i in &l.boxes {
                of[i] = Some(body);
            }
        }
        of
    }

    /// Gives up bodies of fewer than two boxes, each with a line in the journal or all in one count.
    fn forget_lone(&mut self, landmarks: &mut Vec<Landmark>, listed: bool) {
        let lone = landmarks.iter().filter(|l| l.boxes.len() < 2);
        if listed {
            for l in lone {
                let before = Some(score_of(&self.obs, &self.stand, l, &self.evidence));
                let (kind, reason) = (EventKind::Dropped, EventReason::FewerThanTwoBoxes);
                self.journal.note(kind, reason, l, (before, None));
            }
        } else {
            self.journal.count(EventKind::Dropped, lone.count());
        }
        landmarks.retain(|l| l.boxes.len() > 1);
    }

    /// Gives up bodies whose boxes are as well explained without them. One at a time where they are near each other: each
    /// may be what the other's boxes would go to.
    fn drop_needless(&mut self, landmarks: &mut Vec<Landmark>) {
        let scores = landmarks.iter().map(|l| self.score(l)).enumerate();
        let mut needless: Vec<(usize, f64)> = scores.filter(|s| s.1 < 0.0).collect();
        needless.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        let mut gone: Vec<usize> = Vec::new();
        for (k, score) in needless {
            let l = &landmarks[k];
            let apart = |&g: &usize| (landmarks[g].centre() - l.centre()).norm() > APART_M;
            if gone.iter().all(apart) {
                let (kind, reason) = (EventKind::Dropped, EventReason::OthersExplain);
                self.journal.note(kind, reason, l, (Some(score), None));
                gone.push(k);
            }
        }
        let mut k = 0;
        landmarks.retain(|_| {
            k += 1;
            !gone.contains(&(k - 1))
        });
    }

    fn note_begun(&mut self, added: &[Landmark]) {
        for l in added {
            let after = Some(score_of(&self.obs, &self.stand, l, &self.evidence));
            let (kind, reason) = (EventKind::Begun, EventReason::LeftoverBoxes);
            self.journal.note(kind, reason, l, (None, after));
        }
    }

    /// Boxes that went to another body than the others of theirs, came or went.
    fn changed_hands(&self, before: &[Option<usize>], landmarks: &[Landmark]) -> usize {
        let had = before.iter().flatten().count();
        let (mut came, mut stayed) = (0, 0);
        for l in landmarks {
            let mut from: Vec<usize> = l.boxes.iter().filter_map(|&i| before[i]).collect();
            from.sort_unstable();
            let most = from.chunk_by(|a, b| a == b).map(<[usize]>::len).max();
            let most = most.unwrap_or(0);
            stayed += most;
            came += l.boxes.len() - most;
        }
        let left = had.saturating_sub(stayed);
        came.max(left)
    }

    fn finish(&mut self, landmarks: &mut Vec<Landmark>) {
        self.missed_in = settle(
            &mut self.obs,
            &self.grids,
            &self.stand,
            landmarks,
            &self.evidence,
        );
        refit(&self.obs, &self.stand, landmarks, &self.evidence);
        self.forget_lone(landmarks, true);
        merge(
            &self.obs,
            &self.stand,
            landmarks,
            &self.evidence,
            &mut self.journal,
        );
        self.duplicates = duplicates(
            &self.obs,
            &self.grids,
            &self.stand,
            landmarks,
            &self.evidence,
        );
    }

    /// Log odds of a body's existence from its boxes and misses.
    pub(crate) fn score(&self, l: &Landmark) -> f64 {
        score_of(&self.obs, &self.stand, l, &self.evidence)
    }
}

/// Radius by growth stage of pome fruit: BBCH 71 up to 10 mm, 72 up to 20 mm, 74 up to 40 mm diameter (Meier et al.,
/// BBCH monograph, 2nd ed. 2001). Wide: the run itself tells soon.
fn radius_of_stage(run: &Run) -> Option<(f64, f64)> {
    let fruit = run
        .frames
        .iter()
        .flat_map(|f| &f.detections)
        .any(|d| d.class == Class::Fruitlet);
    match run.stage_bbch {
        Some(71) if fruit => Some((0.004, 0.0015)),
        Some(72) if fruit => Some((0.007, 0.0025)),
        Some(73 | 74) if fruit => Some((0.013, 0.005)),
        _ => None,
    }
}
