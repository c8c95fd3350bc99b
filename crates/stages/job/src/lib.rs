//! The whole job as one library call: fusion, clusters, approach, thinning, sequence in a row.
//!
//! The job goes as far as its inputs allow: without a policy it ends with the map, without an arm with the
//! decisions, and says so in [`JobOutput::reached`]. It reads no clock: whoever wants times takes them when the
//! stages are announced.

mod config;
mod reached;
mod token;

pub use config::JobConfig;
pub use reached::{Reached, Stage, StageEvent, WhyStopped};
pub use token::run_token;

use corymb_approach::Sight;
use corymb_model::arm::ArmSetup;
use corymb_model::decisions::Decisions;
use corymb_model::frames::{CameraFrame, Orchard, Pose};
use corymb_model::map::CropMap;
use corymb_model::orders::TaskList;
use corymb_model::policy::Policy;
use corymb_model::run::Run;
use corymb_model::scene::Scene;
use corymb_model::ways::ClusterWays;

/// Everything that the stages produced.
#[derive(Debug, Clone)]
pub struct JobOutput {
    /// Bodies in space and corrected poses.
    pub scene: Scene,
    /// Fruitlets, clusters, trees.
    pub map: CropMap,
    /// The ways to thin each cluster; empty without a policy.
    pub ways: Vec<ClusterWays>,
    /// What stays and what goes; `None` without a policy.
    pub decisions: Option<Decisions>,
    /// The task list; `None` without a policy or an arm.
    pub tasks: Option<TaskList>,
    /// How far the job went, and why no further.
    pub reached: Reached,
}

/// Runs the whole job as far as its inputs allow.
///
/// `watch` hears each stage begin and end, from the thread that called. Work is done on the caller's rayon pool, and
/// the result does not depend on its size.
pub fn run_job(
    run: &Run,
    policy: Option<&Policy>,
    setup: Option<&ArmSetup>,
    config: &JobConfig,
    watch: &(dyn Fn(StageEvent) + Sync),
) -> JobOutput {
    let job = Job {
        run,
        setup,
        config,
        watch,
    };
    let scene = job.fuse();
    let map = job.cluster(&scene);
    let Some(policy) = policy else {
        return JobOutput::of_map(scene, map);
    };
    let views = views(run, &scene);
    let ways = job.find_ways(&map, policy, &views);
    let decisions = job.decide(&map, &ways, policy);
    let tasks = setup.map(|setup| job.sequence(&map, &decisions, setup, &views));
    JobOutput {
        scene,
        map,
        ways,
        decisions: Some(decisions),
        reached: Reached::with(tasks.is_some()),
        tasks,
    }
}

impl JobOutput {
    fn of_map(scene: Scene, map: CropMap) -> Self {
        Self {
            scene,
            map,
            ways: Vec::new(),
            decisions: None,
            tasks: None,
            reached: Reached::MAP,
        }
    }
}

/// Where each image with a usable pose was taken from: position in `Run::cameras` and `orchard_from_camera`.
fn views(run: &Run, scene: &Scene) -> Vec<(usize, Pose<Orchard, CameraFrame>)> {
    run.frames
        .iter()
        .zip(&scene.views)
        .filter_map(|(frame, view)| Some((frame.camera_idx, view.orchard_from_camera?)))
        .collect()
}

/// What all stages share.
struct Job<'a> {
    run: &'a Run,
    setup: Option<&'a ArmSetup>,
    config: &'a JobConfig,
    watch: &'a (dyn Fn(StageEvent) + Sync),
}

impl Job<'_> {
    fn fuse(&self) -> Scene {
        let fuse = || corymb_fusion::fuse(self.run, &self.config.fusion);
        self.staged(Stage::Fusion, fuse, |s| s.bodies.len())
    }

    fn cluster(&self, scene: &Scene) -> CropMap {
        let cluster = || corymb_clusters::cluster(self.run, scene, &self.config.clusters);
        self.staged(Stage::Clusters, cluster, |m| m.fruitlets.len())
    }

    fn find_ways(
        &self,
        map: &CropMap,
        policy: &Policy,
        views: &[(usize, Pose<Orchard, CameraFrame>)],
    ) -> Vec<ClusterWays> {
        let input = corymb_approach::Input {
            map,
            orchard: self.run.orchard.as_ref(),
            setup: self.setup,
            policy,
            sight: Sight {
                cameras: &self.run.cameras,
                views,
            },
        };
        let find = || corymb_approach::find_ways(&input, &self.config.approach);
        self.staged(Stage::Approach, find, |w| {
            w.iter().map(|c| c.ways.len()).sum()
        })
    }

    fn decide(&self, map: &CropMap, ways: &[ClusterWays], policy: &Policy) -> Decisions {
        let input = corymb_thinning::Input {
            map,
            ways,
            policy,
            orchard: self.run.orchard.as_ref(),
        };
        let decide = || corymb_thinning::decide(&input, &self.config.thinning);
        self.staged(Stage::Thinning, decide, |d| d.decisions.len())
    }

    fn sequence(
        &self,
        map: &CropMap,
        decisions: &Decisions,
        setup: &ArmSetup,
        views: &[(usize, Pose<Orchard, CameraFrame>)],
    ) -> TaskList {
        let run_token = run_token(self.run, map);
        let input = corymb_sequence::Input {
            map,
            decisions,
            setup: Some(setup),
            cameras: &self.run.cameras,
            views,
            run_token: &run_token,
        };
        let sequence = || corymb_sequence::sequence(&input, &self.config.sequence);
        self.staged(Stage::Sequence, sequence, |t| t.orders.len())
    }

    /// Runs one stage between its two announcements.
    fn staged<T>(
        &self,
        stage: Stage,
        work: impl FnOnce() -> T,
        items: impl FnOnce(&T) -> usize,
    ) -> T {
        (self.watch)(StageEvent::Begin { stage });
        let output = work();
        (self.watch)(StageEvent::End {
            stage,
            items: items(&output),
        });
        output
    }
}
