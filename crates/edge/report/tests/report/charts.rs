//! Charts of data small enough that every mark's place is known. One line of about and one of key leave the axes at
//! x from 68 to 616, and y from 118 (a line of figures in the head: 136) downwards.

use corymb_report::charts::{
    AxisErrors, ClusterSizes, EdgeResiduals, EdgesResiduals, ErrorBins, Histogram, Quantiles,
    RadiusResiduals, Reliability, ReliabilityBin, ShareWithin, Sizes, SpreadBin, axis_errors,
    cluster_sizes, error_by_pixel_area, error_by_views, reliability, residuals_by_edge,
    residuals_by_radius, sizes,
};

/// A name that is no XML.
const ABOUT: &str = "block <7> & \"north\"";

fn holds(svg: &str, mark: &str) {
    assert!(svg.contains(mark), "{mark} is not in\n{svg}");
}

fn statements() -> Reliability {
    Reliability {
        of: "existence".to_owned(),
        bins: vec![ReliabilityBin {
            from: 0.5,
            to: 0.6,
            stated: 0.5,
            came_true: 3,
            cases: 4,
            interval: [0.25, 1.0],
        }],
        brier: Some(0.125),
        calibration_error: None,
        none_because: None,
    }
}

fn one_bin(label: &str) -> SpreadBin {
    SpreadBin {
        label: label.to_owned(),
        n: 9,
        spread: Some(Quantiles {
            low: -1.0,
            low_quartile: 1.0,
            median: 2.0,
            high_quartile: 3.0,
            high: 4.0,
        }),
    }
}

fn edge(outward_px: &[f64]) -> EdgeResiduals {
    EdgeResiduals {
        outward_px: outward_px.to_vec(),
        mean_px: Some(0.0),
        deviation_px: Some(1.0),
        within_stated: 2,
    }
}

#[test]
fn a_statement_stands_at_what_was_stated_and_came_true() {
    let svg = reliability(ABOUT, &statements());
    // the axes are 330 pixels high: three of four is a quarter down from 136
    holds(
        &svg,
        r#"<circle class="dot" cx="342.0" cy="218.5" r="4.0"/>"#,
    );
    holds(&svg, r#"d="M342.0 383.5L342.0 136.0""#);
    holds(&svg, r#"<path class="ideal" d="M68.0 466.0L616.0 136.0"/>"#);
    holds(
        &svg,
        "n 4, Brier score 0.125, mean distance from the broken line undefined",
    );
    holds(&svg, "stated 0.5 to 0.6 (mean 0.50): 3 of 4 came true");
}

#[test]
fn a_spread_stands_at_its_quantiles() {
    let bins = |label| ErrorBins {
        bins_mm: vec![one_bin(label)],
        none_because: None,
    };
    // 0 to 4 mm on 270 pixels; what lies below the axis ends on it
    for svg in [
        error_by_views(ABOUT, &bins("2")),
        error_by_pixel_area(ABOUT, &bins("2")),
    ] {
        holds(
            &svg,
            r#"<circle class="hole" cx="342.0" cy="253.0" r="3.5"/>"#,
        );
        holds(
            &svg,
            r#"<rect class="bar" x="326.0" y="185.5" width="32.0" height="135.0"/>"#,
        );
        holds(&svg, r#"d="M342.0 388.0L342.0 320.5""#);
        holds(&svg, r#"d="M342.0 118.0L342.0 185.5""#);
        holds(&svg, ">9</text>");
    }
}

#[test]
fn residuals_by_radius_show_the_stated_deviation_on_both_sides() {
    let svg = residuals_by_radius(
        ABOUT,
        &RadiusResiduals {
            bins_px: vec![one_bin("0\u{2013}200")],
            stated_px: Some(2.0),
            none_because: None,
        },
    );
    // -4 to 4 px on 270 pixels
    holds(
        &svg,
        r#"<circle class="hole" cx="342.0" cy="185.5" r="3.5"/>"#,
    );
    holds(&svg, r#"<path class="ideal" d="M68.0 320.5L616.0 320.5"/>"#);
    holds(&svg, r#"<path class="ideal" d="M68.0 185.5L616.0 185.5"/>"#);
}

#[test]
fn residuals_stand_in_their_bins_a_panel_an_edge() {
    let svg = residuals_by_edge(
        ABOUT,
        &EdgesResiduals {
            edges: [
                edge(&[0.1, 0.2, -99.0, 99.0]),
                edge(&[0.1]),
                edge(&[]),
                edge(&[-0.1, -0.2]),
            ],
            stated_px: Some(2.0),
            none_because: None,
        },
    );
    // 32 bins of 0.5 px over 240 pixels from x = 68: the bin from 0 to 0.5 begins in the middle
    holds(&svg, r#"<rect class="bar" x="188.0""#);
    holds(&svg, r#"<rect class="bar" x="496.0""#);
    holds(&svg, r#"<rect class="bar" x="488.5""#);
    assert_eq!(svg.matches(r#"class="bar" x="188.0""#).count(), 1);
    holds(&svg, "left edge, n 4");
    holds(&svg, "50 % within the stated deviation");
    holds(&svg, "outward of predicted, px (2 beyond)");
    assert_eq!(svg.matches(r#"<path class="curve" d="M68"#).count(), 2);
}

#[test]
fn histograms_lose_nothing() {
    let values = [-0.1, 0.0, 0.5, 0.99, 1.0, 2.0, f64::NAN];
    let counted = Histogram::of(&values, 0.0, 1.0, 2);
    assert_eq!(
        (counted.below, counted.counts.as_slice(), counted.above),
        (1, &[3, 1][..], 1)
    );
    assert_eq!(counted.total(), 6);
}

#[test]
fn diameters_of_map_and_truth_share_their_bins() {
    let svg = sizes(
        ABOUT,
        &Sizes {
            true_mm: vec![10.0, 10.2, 11.3],
            map_mm: vec![10.1, 10.6],
        },
    );
    // bins of 0.5 mm from 10 to 11.5: 548 pixels in three, 0 to 2 on 270
    holds(
        &svg,
        r#"<rect class="other" x="68.0" y="118.0" width="182.7" height="270.0"/>"#,
    );
    holds(
        &svg,
        r#"<rect class="other" x="433.3" y="253.0" width="182.7" height="135.0"/>"#,
    );
    holds(
        &svg,
        r#"<path class="own" d="M68.0 388.0L68.0 253.0L250.7 253.0L250.7 253.0L433.3 253.0L433.3 388.0L616.0 388.0"#,
    );
    holds(&svg, "10.0 to 10.5 mm: true 2, map 1");
}

#[test]
fn cluster_sizes_are_counted_in_their_cells() {
    let svg = cluster_sizes(
        ABOUT,
        &ClusterSizes {
            true_and_map: vec![[2, 2], [2, 2], [2, 0], [1, 2], [30, 31]],
            none_because: None,
        },
    );
    let told = "true size 1: 1 as 2; true size 2: 1 as none, 2 as 2; true size 9+: 1 as 9+.";
    holds(&svg, told);
    // ten columns of 44.6 pixels from 110: the third is the map's size of two
    holds(&svg, r#"<rect class="t3" x="199.2""#);
    holds(&svg, r#"<text class="mid" x="221.5" y="193.5">2</text>"#);
    assert_eq!(svg.matches(r#"<rect class="frame" x="#).count(), 9 + 1); // one in the key
}

#[test]
fn axes_climb_to_their_whole_number() {
    let within = |deg, num| ShareWithin {
        deg,
        num,
        den: 4,
        interval: [0.0, 1.0],
    };
    let mut data = AxisErrors {
        errors_deg: vec![45.0, 9.0, 18.0, 90.0],
        without_axis: 3,
        within: vec![within(10.0, 1), within(20.0, 2)],
        none_because: None,
    };
    let svg = axis_errors(ABOUT, &data);
    // 90 degrees on 548 pixels, the share on 300
    let line =
        "M68.0 436.0L122.8 436.0L122.8 361.0L177.6 361.0L177.6 286.0L342.0 286.0L342.0 211.0";
    holds(&svg, line);
    holds(
        &svg,
        r#"<circle class="dot" cx="128.9" cy="361.0" r="4.0"/>"#,
    );
    holds(&svg, "within 20\u{b0}: 50 % (0\u{2013}100 %), 2 of 4");
    holds(&svg, "n 4 with an axis; 3 found without one");
    data.errors_deg.push(91.0);
    let wide = axis_errors(ABOUT, &data);
    holds(&wide, ">180</text>");
}

fn every(full: bool) -> Vec<String> {
    let bins = |full| match full {
        true => vec![one_bin("1")],
        false => Vec::new(),
    };
    let errors = ErrorBins {
        bins_mm: bins(full),
        none_because: None,
    };
    let radius = RadiusResiduals {
        bins_px: bins(full),
        ..RadiusResiduals::default()
    };
    let (mut stated, mut edges) = (Reliability::default(), EdgesResiduals::default());
    let (mut diameters, mut clusters) = (Sizes::default(), ClusterSizes::default());
    let mut axes = AxisErrors::default();
    if full {
        stated = statements();
        edges.edges = [(); 4].map(|()| edge(&[0.5]));
        diameters.true_mm = vec![20.0];
        clusters.true_and_map = vec![[1, 1]];
        axes.errors_deg = vec![3.0];
    }
    vec![
        reliability(ABOUT, &stated),
        residuals_by_edge(ABOUT, &edges),
        residuals_by_radius(ABOUT, &radius),
        error_by_views(ABOUT, &errors),
        error_by_pixel_area(ABOUT, &errors),
        sizes(ABOUT, &diameters),
        cluster_sizes(ABOUT, &clusters),
        axis_errors(ABOUT, &axes),
    ]
}

#[test]
fn a_chart_of_nothing_says_so_in_words() {
    for svg in every(false) {
        holds(&svg, ">Nothing to draw: ");
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }
    let none = Reliability {
        none_because: Some("no decisions were given".to_owned()),
        ..Reliability::default()
    };
    holds(
        &reliability("", &none),
        "Nothing to draw: no decisions were given.",
    );
}

#[test]
fn every_chart_is_described_escapes_names_and_repeats() {
    for (svg, again) in every(true).into_iter().zip(every(true)) {
        assert_eq!(svg, again);
        holds(&svg, r#"role="img""#);
        holds(&svg, "block &lt;7&gt; &amp; &quot;north&quot;");
        assert!(
            !svg.contains("<7>") && !svg.contains("Nothing to draw"),
            "{svg}"
        );
        let title = svg.find("<title>").unwrap();
        assert!(title < svg.find("<desc>").unwrap());
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }
}

#[test]
fn a_long_name_takes_two_lines_at_most() {
    let svg = sizes(&"very long name ".repeat(40), &Sizes::default());
    assert_eq!(svg.matches(r#"class="soft""#).count(), 2);
    holds(&svg, "\u{2026}</text>");
}
