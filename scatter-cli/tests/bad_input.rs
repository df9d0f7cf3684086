//! Every case of `tests/bad-input`: one clear error, the right status, nothing written, old files
//! as they were.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use harness::{Dir, Run};
use scatter_tests::bad_input::{Case, base, cases};

/// A delivery from an earlier run.
const OLD: [(&str, &str); 3] = [
    ("out/layout.glb", "old glb"),
    ("out/layout.json", "old json"),
    ("out/report.json", "old report"),
];

#[test]
fn the_good_shot_of_the_corpus_dresses() {
    let dir = Dir::new();
    dir.write("shot.json", base().to_string());
    dir.run(&["dress", "shot.json"]).status(0).stdout_is("");
    for (file, _) in OLD {
        assert!(dir.path().join(file).is_file(), "no {file}");
    }
}

#[test]
fn every_bad_input_gets_one_clear_error_and_changes_nothing() {
    let mut failures = Vec::new();
    let cases = cases();
    for case in &cases {
        if let Err(why) = try_case(case) {
            failures.push(format!("{}: {why}", case.name));
        }
    }
    assert!(
        failures.is_empty(),
        "{} of {} cases fail\n\n{}",
        failures.len(),
        cases.len(),
        failures.join("\n\n")
    );
}

fn try_case(case: &Case) -> Result<(), String> {
    let dir = Dir::new();
    dir.write("shot.json", case.shot());
    if !case.fields.contains_key("without_old_outputs") {
        for (file, content) in OLD {
            dir.write(file, content);
        }
    }
    for (file, content) in case.files() {
        dir.write(&file, content);
    }
    let before = dir.contents();

    let args = case.args();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let run = if let Some(kib) = case.fields.get("file_limit_kib") {
        dir.run_with_file_limit(&args, kib.as_u64().ok_or("no number")?)
    } else if let Some(file) = case.text("stdout") {
        dir.run_into(&args, file)
    } else {
        dir.run(&args)
    };

    if dir.contents() != before {
        return Err(format!("files changed\n{run}"));
    }
    judge(case, &run).map_err(|why| format!("{why}\n{run}"))
}

fn judge(case: &Case, run: &Run) -> Result<(), String> {
    if run.status != Some(case.status()) {
        return Err(format!("expected exit status {}", case.status()));
    }
    if run.stderr.matches("error:").count() != 1 || !run.stderr.starts_with("error:") {
        return Err("not one error".into());
    }
    if !run.stdout.is_empty() {
        return Err("something on standard output".into());
    }
    match case
        .says()
        .iter()
        .find(|words| !run.stderr.contains(*words))
    {
        Some(words) => Err(format!("the message does not say {words:?}")),
        None => Ok(()),
    }
}
