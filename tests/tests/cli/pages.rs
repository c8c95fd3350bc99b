//! What the program and the README say about themselves is true.

use super::{OUTPUTS, WHOLE, desk, files, read, typed, workspace};

fn readme() -> String {
    read(&workspace().join("README.md")).unwrap()
}

/// The commands in the README's shell blocks.
fn shell_lines(text: &str) -> Vec<String> {
    let blocks = text
        .split("```sh\n")
        .skip(1)
        .filter_map(|b| b.split("```").next());
    blocks.flat_map(str::lines).map(str::to_owned).collect()
}

fn words(text: &str) -> Vec<&str> {
    text.split_whitespace().collect()
}

#[test]
fn help_begins_with_examples_and_each_of_them_works() {
    let desk = desk();
    let help = typed(desk.path(), "corymb --help").stdout;
    let flat = |text: &str| words(text).join(" ");
    assert!(
        flat(&help).starts_with(&flat(corymb_cli::EXAMPLES)),
        "{help}"
    );
    let lines: Vec<&str> = corymb_cli::EXAMPLES
        .lines()
        .filter(|l| l.trim_start().starts_with("corymb "))
        .collect();
    for command in ["run", "check", "simulate", "score", "compare", "explain"] {
        assert!(
            lines.iter().any(|l| words(l)[1] == command),
            "no example of {command}"
        );
    }
    for line in lines {
        let said = typed(desk.path(), line.trim());
        assert_eq!(said.code, Some(0), "{line}: {said:?}");
        assert!(!said.stdout.is_empty(), "{line}");
    }
}

#[test]
fn the_first_command_of_the_readme_does_the_main_job() {
    let lines = shell_lines(&readme());
    let arguments = lines[0].strip_prefix("cargo run --release -- ").unwrap();
    assert_eq!(words(&format!("corymb {arguments}")), words(WHOLE));
    let desk = desk();
    let said = typed(desk.path(), WHOLE);
    assert_eq!(said.code, Some(0), "{said:?}");
    let found = files(&desk.path().join("out")).unwrap();
    assert_eq!(
        found.keys().map(String::as_str).collect::<Vec<_>>(),
        OUTPUTS
    );
    for name in OUTPUTS {
        assert!(
            readme().contains(&format!("| `{name}` |")),
            "the README says what {name} holds"
        );
    }
}

#[test]
fn the_second_command_of_the_readme_is_what_ci_runs() {
    let second = &shell_lines(&readme())[1];
    assert!(
        read(&workspace().join(".ci/run"))
            .unwrap()
            .lines()
            .any(|l| l == second),
        "{second}"
    );
}

#[test]
fn the_cautions_stand_word_for_word_in_the_readme_and_under_a_task_list() {
    let wanted = words(corymb_report::CAUTIONS).join(" ");
    assert!(words(&readme()).join(" ").contains(&wanted));
    let desk = desk();
    let said = typed(desk.path(), WHOLE);
    assert_eq!(words(&said.stdout).join(" ").matches(&wanted).count(), 1);
}

#[test]
fn the_readme_lists_every_command() {
    let desk = desk();
    let help = typed(desk.path(), "corymb --help").stdout;
    let listed: Vec<&str> = help
        .lines()
        .skip_while(|l| *l != "Commands:")
        .skip(1)
        .take_while(|l| !l.is_empty())
        .filter_map(|l| l.split_whitespace().next())
        .filter(|c| *c != "help")
        .collect();
    assert!(listed.len() >= 5, "{help}");
    for command in listed {
        assert!(
            readme().contains(&format!("| `corymb {command}")),
            "{command}"
        );
    }
}
