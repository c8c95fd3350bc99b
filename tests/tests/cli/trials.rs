//! Field trials through the command line.

use super::{WHOLE, desk, json, typed};
use serde_json::json;

#[test]
fn the_shipped_trials_are_summed_up_as_the_page_says() {
    let desk = desk();
    let line = "corymb trials fixtures/trials/forty.csv";
    let said = typed(desk.path(), line);
    assert_eq!((said.code, said.stderr.as_str()), (Some(0), ""));
    let page = include_str!("../../../crates/lab/score/README.md");
    for words in ["38/40  [83.5, 98.6]", "35/40  [73.9, 94.5]"] {
        assert!(said.stdout.contains(words), "{words}\n{}", said.stdout);
        assert!(page.contains(words), "{words}");
    }
    for words in [
        "up to 8.8 %",
        "ISO 18497",
        "stem not between the blades         2",
    ] {
        assert!(said.stdout.contains(words), "{words}\n{}", said.stdout);
    }
    let summary = json(
        typed(desk.path(), &format!("{line} --json"))
            .stdout
            .as_bytes(),
    );
    assert_eq!(summary["rates"]["cut"]["num"], 35);
    assert_eq!(summary["seconds"]["n"], 38);
    assert_eq!(summary["by_tool"].as_array().unwrap().len(), 2);
    assert_eq!(summary["promised"], json!(null));
}

#[test]
fn trials_are_held_to_the_orders_that_were_tried() {
    let desk = desk();
    assert_eq!(typed(desk.path(), WHOLE).code, Some(0));
    let orders = std::fs::read_to_string(desk.path().join("out/orders.jsonl")).unwrap();
    let removals: Vec<(String, f64)> = orders
        .lines()
        .map(|line| json(line.as_bytes()))
        .filter(|order| order["kind"] == "remove")
        .map(|order| {
            let id = order["order"].as_str().unwrap().to_owned();
            (id, order["success_probability"].as_f64().unwrap())
        })
        .collect();
    let [(first, sure), (second, doubtful), rest @ ..] = &removals[..] else {
        panic!("the fixture has fewer than two removals");
    };
    let table = format!(
        "damage,cut,enclosed,reached,seconds,order\nno,yes,yes,yes,7,{first}\nno,no,yes,yes,8,{second}\nno,yes,yes,yes,,strange\n"
    );
    std::fs::write(desk.path().join("trials.csv"), table).unwrap();
    let line = "corymb trials trials.csv --orders out --json";
    let said = typed(desk.path(), line);
    assert_eq!(said.code, Some(0), "{said:?}");
    let promised = &json(said.stdout.as_bytes())["promised"];
    assert_eq!(promised["unknown_orders"], json!(["strange"]));
    let never: Vec<&String> = rest.iter().map(|(id, _)| id).collect();
    assert_eq!(promised["never_tried"], json!(never));
    let brier = f64::midpoint((1.0 - sure).powi(2), doubtful.powi(2));
    assert!((promised["success"]["brier"].as_f64().unwrap() - brier).abs() < 1e-9);
}

#[test]
fn problems_of_trials_and_orders_are_told_together() {
    let desk = desk();
    std::fs::create_dir(desk.path().join("out")).unwrap();
    std::fs::write(
        desk.path().join("out/orders.jsonl"),
        "{\"kind\":\"remove\"}\n",
    )
    .unwrap();
    let table = "order,reached,enclosed,cut,damage,seconds\no1,no,yes,,,\n";
    std::fs::write(desk.path().join("trials.csv"), table).unwrap();
    let said = typed(desk.path(), "corymb trials trials.csv --orders out");
    assert_eq!((said.code, said.stdout.as_str()), (Some(2), ""));
    for words in [
        "[trial-contradicts] trials.csv, line 2, enclosed",
        "[field-missing] orders.jsonl, line 1",
    ] {
        assert!(said.stderr.contains(words), "{words}\n{}", said.stderr);
    }
}
