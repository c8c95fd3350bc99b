//! Running a study.

use crate::files::{Fixtures, study_file};
use corymb_model::run::Run;
use corymb_simulate::{Simulated, truth_as_map};
use corymb_study::{
    Contestant, Estimate, Estimator, Given, Oracle, Rows, RunOptions, Standard, Study, rows_csv,
    run_study, summarise, table_csv, table_markdown, table_text,
};
use std::sync::Mutex;

/// Knows everything.
struct Perfect;

impl Oracle for Perfect {
    fn name(&self) -> &str {
        "truth"
    }
    fn estimate(&self, simulated: &Simulated, _given: &Given<'_>) -> Estimate {
        Estimate {
            map: truth_as_map(simulated),
            ..Estimate::default()
        }
    }
}

/// Finds nothing.
struct Nothing;

impl Estimator for Nothing {
    fn name(&self) -> &str {
        "nothing"
    }
    fn estimate(&self, _run: &Run, _given: &Given<'_>) -> Estimate {
        Estimate::default()
    }
}

fn tiny() -> Study {
    study_file("tiny.toml").resolve(&mut Fixtures).unwrap()
}

fn run(study: &Study, threads: usize) -> Rows {
    let contestants = [
        Contestant::Estimator(&Standard),
        Contestant::Estimator(&Nothing),
        Contestant::Oracle(&Perfect),
    ];
    let options = RunOptions {
        threads,
        watch: &|_| (),
        clock: None,
    };
    run_study(study, &contestants, &options).unwrap()
}

#[test]
fn rows_do_not_depend_on_threads_and_come_seed_by_seed() {
    let study = tiny();
    let (one, two) = (run(&study, 1), run(&study, 2));
    assert_eq!(rows_csv(&one), rows_csv(&two));
    let (first, second) = (summarise(&one), summarise(&two));
    assert_eq!(table_csv(&first), table_csv(&second));
    assert_eq!(table_markdown(&first), table_markdown(&second));
    // 2 edge noises x 2 rounds x 3 contestants x 2 seeds
    assert_eq!(one.rows.len(), 24);
    assert_eq!(first.lines.len(), 12);
    assert!(first.lines.iter().all(|l| l.seeds == 2));
    assert_eq!(one.rows[0].values, ["0.5", "1"]);
    assert_eq!((one.rows[0].seed, one.rows[1].seed), (3, 4));
    assert!(table_text(&first).contains("axes_missing"));
}

#[test]
fn figures_are_those_of_the_method() {
    let rows = run(&tiny(), 2);
    let at = |name: &str| rows.figures.iter().position(|f| f.name == name).unwrap();
    for row in &rows.rows {
        let figure = |name: &str| row.figures[at(name)];
        match row.estimator.as_str() {
            "truth" => {
                assert_eq!(figure("f1"), Some(1.0), "{row:?}");
                assert_eq!(figure("hota"), Some(1.0), "{row:?}");
                assert_eq!(figure("clusters_exact"), Some(1.0), "{row:?}");
            }
            "nothing" => assert_eq!(figure("recall"), Some(0.0), "{row:?}"),
            _ => {
                // every figure of the map is defined; those of decisions and orders are not without a policy
                for (kind, value) in rows.figures.iter().zip(&row.figures) {
                    let of_map = !["decided", "clusters_right", "orders"]
                        .iter()
                        .any(|p| kind.name.starts_with(p));
                    assert_eq!(value.is_some(), of_map, "{} {row:?}", kind.name);
                }
            }
        }
    }
}

#[test]
fn each_run_is_announced_once_and_timed_where_asked() {
    let mut study = tiny();
    study.scenes.truncate(1);
    let heard = Mutex::new(Vec::new());
    let ticks = Mutex::new(0.0);
    let clock = || {
        let mut now = ticks.lock().unwrap();
        *now += 1.5;
        *now
    };
    let options = RunOptions {
        threads: 1,
        watch: &|event| {
            heard
                .lock()
                .unwrap()
                .push((event.scene.to_owned(), event.seed));
        },
        clock: Some(&clock),
    };
    let rows = run_study(&study, &[Contestant::Estimator(&Nothing)], &options).unwrap();
    let expected = [("one tree".to_owned(), 3), ("one tree".to_owned(), 4)];
    assert_eq!(heard.into_inner().unwrap(), expected);
    assert!(rows.rows.iter().all(|r| r.seconds == Some(1.5)));
    assert!(
        rows_csv(&rows)
            .lines()
            .all(|l| l.ends_with(",seconds") || l.ends_with(",1.5"))
    );
}
