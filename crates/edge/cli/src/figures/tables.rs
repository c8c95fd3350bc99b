//! What the charts rest on, as CSV (RFC 4180, lines end in a line feed): an empty cell is a value that there is not.

use crate::figures::Named;
use corymb_score::details::{BoxResidual, ClusterDetail, Details, FruitDetail};

const FRUITLETS: &str = "outcome,true_id,true_tree,true_cluster,true_images,true_diameter_mm,\
map_id,map_tree,map_cluster,views,box_side_px,box_area_px2,map_diameter_mm,existence,\
error_x_mm,error_y_mm,error_z_mm,error_mm,shift_x_mm,shift_y_mm,shift_z_mm,diameter_error_mm,axis_error_deg,\
deviation_x_mm,deviation_y_mm,deviation_z_mm,shared_deviation_mm,diameter_deviation_mm,axis_deviation_deg";
const RESIDUALS: &str = "map_id,frame,detection,camera,image_radius_px,\
left_outward_px,top_outward_px,right_outward_px,bottom_outward_px";
const CLUSTERS: &str = "true_cluster,true_fruit,found,map_clusters,map_cluster,held,map_fruit";

/// Every table.
pub(crate) fn all(details: &Details) -> Vec<Named> {
    let fruitlets = details.fruitlets.iter().map(fruitlet);
    let residuals = details.residuals.boxes.iter().map(residual);
    let clusters = details.clusters.iter().map(cluster);
    vec![
        ("fruitlets.csv", table(FRUITLETS, fruitlets)),
        ("residuals.csv", table(RESIDUALS, residuals)),
        ("clusters.csv", table(CLUSTERS, clusters)),
    ]
}

fn table(head: &str, rows: impl Iterator<Item = Vec<String>>) -> String {
    let mut out = head.to_owned() + "\n";
    for row in rows {
        out += &row.join(",");
        out.push('\n');
    }
    out
}

/// Text as a cell, in quotes where it must be.
fn text(words: &str) -> String {
    if words.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", words.replace('"', "\"\""))
    } else {
        words.to_owned()
    }
}

fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |v| v.to_string())
}

fn fruitlet(fruit: &FruitDetail) -> Vec<String> {
    let mut row = vec![fruit.outcome.name().to_owned()];
    row.extend(match &fruit.truth {
        None => vec![String::new(); 5],
        Some(truth) => vec![
            text(&truth.id),
            text(&truth.tree),
            text(&truth.cluster),
            truth.images.to_string(),
            number(Some(truth.diameter_mm)),
        ],
    });
    row.extend(match &fruit.map {
        None => vec![String::new(); 8],
        Some(map) => vec![
            text(&map.id),
            text(map.tree.as_deref().unwrap_or_default()),
            text(&map.cluster),
            map.views.to_string(),
            number(map.box_side_px),
            number(map.box_area_px2),
            number(Some(map.diameter_mm)),
            number(Some(map.existence)),
        ],
    });
    row.extend(numbers(fruit).map(number));
    row
}

/// Errors and stated deviations, in the order of the table.
fn numbers(fruit: &FruitDetail) -> [Option<f64>; 15] {
    let (error, map) = (fruit.error.as_ref(), fruit.map.as_ref());
    let off = |axis: usize| error.map(|e| e.centre_mm[axis]);
    let shift = |axis: usize| error.map(|e| e.shift_mm[axis]);
    let deviation = |axis: usize| map.map(|m| m.centre_deviation_mm[axis]);
    [
        off(0),
        off(1),
        off(2),
        error.map(|e| e.centre_size_mm),
        shift(0),
        shift(1),
        shift(2),
        error.map(|e| e.diameter_mm),
        error.and_then(|e| e.axis_deg),
        deviation(0),
        deviation(1),
        deviation(2),
        map.map(|m| m.shared_deviation_mm),
        map.map(|m| m.diameter_deviation_mm),
        map.and_then(|m| m.axis_deviation_deg),
    ]
}

fn residual(residual: &BoxResidual) -> Vec<String> {
    let mut row = vec![
        text(&residual.map_id),
        text(&residual.frame),
        residual.detection.to_string(),
        text(&residual.camera),
        number(Some(residual.image_radius_px)),
    ];
    row.extend(residual.outward_px.map(number));
    row
}

fn cluster(cluster: &ClusterDetail) -> Vec<String> {
    vec![
        text(&cluster.cluster),
        cluster.fruit.to_string(),
        cluster.found.to_string(),
        cluster.map_clusters.to_string(),
        text(cluster.map_cluster.as_deref().unwrap_or_default()),
        cluster.held.to_string(),
        cluster.map_fruit.to_string(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_would_break_a_row_are_quoted() {
        let lone = ClusterDetail {
            cluster: "a \"b\", c".to_owned(),
            fruit: 2,
            found: 0,
            map_clusters: 0,
            map_cluster: None,
            held: 0,
            map_fruit: 0,
        };
        let rows = table(CLUSTERS, [cluster(&lone)].into_iter());
        assert_eq!(rows, format!("{CLUSTERS}\n\"a \"\"b\"\", c\",2,0,0,,0,0\n"));
    }

    #[test]
    fn a_missed_fruitlet_fills_as_many_cells_as_the_head_names() {
        let missed = FruitDetail {
            outcome: corymb_score::details::Outcome::Missed,
            truth: None,
            map: None,
            error: None,
        };
        assert_eq!(fruitlet(&missed).len(), FRUITLETS.split(',').count());
    }
}
