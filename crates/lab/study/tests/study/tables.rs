//! Tables against figures worked out by hand.

use corymb_study::{
    FigureKind, Row, Rows, rows_csv, summarise, table_csv, table_markdown, table_text,
};

fn row(value: &str, seed: u64, figure: Option<f64>) -> Row {
    Row {
        scene: "a, b".into(),
        values: vec![value.into()],
        seed,
        estimator: "m".into(),
        figures: vec![figure],
        seconds: None,
    }
}

fn rows() -> Rows {
    Rows {
        varied: vec!["leaves.per_cluster".into()],
        figures: vec![FigureKind::at("f", "absolute.f")],
        rows: vec![
            row("1", 1, Some(0.2)),
            row("1", 2, Some(0.4)),
            row("1", 3, Some(0.6)),
            row("2", 1, None),
            row("2", 2, Some(0.5)),
            row("2", 3, None),
        ],
    }
}

#[test]
fn a_summary_is_as_worked_by_hand() {
    let summary = summarise(&rows());
    assert_eq!(summary.lines.len(), 2);
    // s = 0.2, t(2) = 4.302653 (any t table): 4.302653 x 0.2 / sqrt(3)
    let first = summary.lines[0].figures[0];
    assert_eq!(first.n, 3);
    assert!((first.mean.unwrap() - 0.4).abs() < 1e-12);
    assert!((first.half_width.unwrap() - 0.496_828).abs() < 1e-5);
    let second = summary.lines[1].figures[0];
    assert_eq!(
        (second.n, second.mean, second.half_width),
        (1, Some(0.5), None)
    );
}

#[test]
fn tables_say_the_same_in_every_form() {
    let summary = summarise(&rows());
    let expected = "scene,leaves.per_cluster,seed,estimator,f\n\"a, b\",1,1,m,0.2\n";
    assert!(rows_csv(&rows()).starts_with(expected));
    assert!(rows_csv(&rows()).ends_with("\"a, b\",2,3,m,\n"));
    assert!(table_csv(&summary).ends_with("\"a, b\",2,m,f,3,1,0.5,,\n"));
    for table in [table_markdown(&summary), table_text(&summary)] {
        assert!(table.contains("0.400 ± 0.497"), "{table}");
        assert!(table.contains("0.500 (n 1)"), "{table}");
        assert!(table.contains("invented"), "{table}");
    }
    assert!(
        table_markdown(&summary)
            .starts_with("| scene | leaves.per_cluster | estimator | f |\n|---|---|---|---|\n")
    );
}
