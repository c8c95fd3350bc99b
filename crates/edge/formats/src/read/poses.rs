//! `poses.jsonl`.

use crate::codes::Code;
use crate::findings::{Findings, place};
use crate::limits::Limits;
use crate::lines::{diagnose, read_lines};
use crate::problem::{Problem, Problems};
use crate::read::document::Loaded;
use crate::shape::Shape;
use crate::source::Located;
use crate::wire::frames::PoseLine;
use corymb_model::run::TimedPose;

/// Reads the trajectory: times strictly increasing.
pub(crate) fn read_poses(
    located: &Located,
    limits: &Limits,
) -> Result<Loaded<Vec<TimedPose>>, Problems> {
    let shape = Shape::of::<PoseLine>();
    let parse = |no: u64, bytes: &[u8]| parse_pose(&located.name, no, bytes, &shape, limits);
    let mut poses: Vec<TimedPose> = Vec::new();
    let mut going_back = Problems::default();
    let mut last_line = 0;
    let ending = read_lines(located, limits, parse, |no, pose: TimedPose| {
        let later = poses.last().filter(|last| last.time_s >= pose.time_s);
        if let Some(last) = later.filter(|_| going_back.list.len() <= limits.problems) {
            let problem = goes_back(&located.name, no, &pose, last, last_line);
            going_back.list.push(problem);
        }
        poses.push(pose);
        last_line = no;
        Ok(())
    })?;
    let mut problems = ending.problems;
    problems.join(going_back);
    let problems = problems.in_order(&located.name, limits.problems);
    problems.or_else(Loaded {
        value: poses,
        file_name: located.name.clone(),
        sha256: ending.sha256,
    })
}

fn parse_pose(
    file: &str,
    no: u64,
    bytes: &[u8],
    shape: &Shape,
    limits: &Limits,
) -> Result<TimedPose, Problems> {
    if let Ok(line) = serde_json::from_slice::<PoseLine>(bytes) {
        let mut findings = Findings::up_to(limits.problems);
        let pose = check_pose(&line, &mut findings);
        if findings.is_empty() {
            return Ok(pose);
        }
    }
    Err(diagnose(
        &(file, no, bytes),
        shape,
        limits,
        |line: PoseLine, out| {
            check_pose(&line, out);
        },
    ))
}

fn check_pose(line: &PoseLine, out: &mut Findings) -> TimedPose {
    let orchard_from_rig = line
        .orchard_from_rig
        .check(|| place!["orchard_from_rig"], out);
    TimedPose {
        time_s: line.time_s.0,
        orchard_from_rig,
    }
}

fn goes_back(file: &str, no: u64, pose: &TimedPose, last: &TimedPose, last_line: u64) -> Problem {
    Problem {
        code: Code::TimeGoesBack,
        file: file.to_owned(),
        line: Some(no),
        field: "time_s".to_owned(),
        found: pose.time_s.to_string(),
        expected: format!("a time after {} (line {last_line})", last.time_s),
        what_to_do: Code::TimeGoesBack.entry().action.to_owned(),
    }
}
