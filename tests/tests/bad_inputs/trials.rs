//! Tables of field trials, and orders read for what they promise.

use crate::{Case, case};

pub(crate) fn cases() -> Vec<Case> {
    vec![
        case!("no trials", Trials, [("file-missing", "trials.csv")], |f| f
            .remove("trials.csv")),
        case!("trials without a trial", Trials, "file-empty" at "trials.csv", |f| {
            f.put("trials.csv", b"order,reached,enclosed,cut,damage,seconds\n");
        }),
        case!("trials with a byte order mark", Trials, "byte-order-mark" at "trials.csv", |f| {
            f.swap("trials.csv", "order,", "\u{feff}order,");
        }),
        case!("trials cut off while packed", Trials, "file-missing" at "trials.csv", |f| f.pack("trials.csv", ".gz", 0.5)),
        case!(
            "column misspelt",
            Trials,
            [
                ("field-unknown", "trials.csv:1 reched"),
                ("field-missing", "trials.csv:1 reached")
            ],
            |f| {
                f.swap("trials.csv", "reached", "reched");
            }
        ),
        case!("column twice", Trials, "key-twice" at "trials.csv:1 tool", |f| f.swap("trials.csv", "cause", "tool")),
        case!("trial with a cell too few", Trials, "length-wrong" at "trials.csv:2", |f| f.swap("trials.csv", ",calm", "")),
        case!("trial without an order", Trials, "text-empty" at "trials.csv:2 order", |f| f.swap("trials.csv", "o1,", ",")),
        case!("order tried twice, after blank lines", Trials, "id-twice" at "trials.csv:5 order", |f| {
            f.swap("trials.csv", "\no2,", "\n\n\no1,");
        }),
        case!("observation in another language", Trials, "value-unknown" at "trials.csv:2 reached", |f| {
            f.swap("trials.csv", "o1,yes", "o1,ja");
        }),
        case!("seconds in words", Trials, "type-wrong" at "trials.csv:2 seconds", |f| f.swap("trials.csv", "6.5", "6.5 s")),
        case!("negative seconds", Trials, "negative" at "trials.csv:2 seconds", |f| f.swap("trials.csv", "6.5", "-6.5")),
        case!("seconds without end", Trials, "number-not-finite" at "trials.csv:2 seconds", |f| f.swap("trials.csv", "6.5", "inf")),
        case!("enclosed what was not reached", Trials, "trial-contradicts" at "trials.csv:3 enclosed", |f| {
            f.swap("trials.csv", "o2,no,,", "o2,no,yes,");
        }),
        case!("cut what was not enclosed", Trials, "trial-contradicts" at "trials.csv:2 cut", |f| {
            f.swap("trials.csv", "o1,yes,1", "o1,yes,0");
        }),
        case!("cut what was not reached", Trials, "trial-contradicts" at "trials.csv:3 cut", |f| {
            f.swap("trials.csv", "o2,no,,,", "o2,no,,yes,");
        }),
        case!("quote that is not closed", Trials, "type-wrong" at "trials.csv:2 cause", |f| {
            f.swap("trials.csv", "6.5,,main,calm\n", "6.5,\"a\nb\",main,calm\n");
        }),
        case!(
            "several slips at once",
            Trials,
            [
                ("value-unknown", "trials.csv:2 cut"),
                ("negative", "trials.csv:2 seconds"),
                ("value-unknown", "trials.csv:3 damage")
            ],
            |f| {
                f.swap("trials.csv", "TRUE,no,6.5", "perhaps,no,-1");
                f.swap("trials.csv", ",0,", ",none,");
            }
        ),
        case!("promise in percent", Chances, "share-range" at "orders.jsonl:1 success_probability", |f| {
            f.swap("out/orders.jsonl", "\"success_probability\":0", "\"success_probability\":10");
        }),
        case!("promise of an order that is there twice", Chances, "id-twice" at "orders.jsonl:2 order", |f| {
            f.swap("out/orders.jsonl", "\"order\":\"o2\"", "\"order\":\"o1\"");
        }),
        case!("promises of no orders", Chances, "file-missing" at "orders.jsonl", |f| f.remove("out/orders.jsonl")),
    ]
}
