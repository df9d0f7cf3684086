//! The pictures of the rules, without and with: each shot is sound both ways, and `docs/rules.md`
//! shows each picture with a line.

use std::collections::BTreeSet;
use std::fs;

use scatter_tests::rules::{all, picture};
use scatter_tests::tools::tests_folder;

#[test]
fn every_rule_has_two_shots_a_picture_and_a_line() {
    let rules = all();
    assert!(rules.len() >= 10, "{} rules", rules.len());
    let page = tests_folder().join("../docs/rules.md");
    let page = fs::read_to_string(page).expect("the page");
    for rule in &rules {
        let [without, with] = &rule.shots;
        assert_ne!(without.digest(), with.digest(), "{}", rule.name);
        let shown = page
            .lines()
            .any(|line| line.contains(&format!("(pictures/rules/{}.jpg)", rule.name)));
        assert!(shown, "docs/rules.md does not show {}", rule.name);
        assert!(
            page.contains(&rule.rule),
            "docs/rules.md does not say: {}",
            rule.rule
        );
        let bytes = fs::read(picture(&rule.name)).expect("a picture");
        // The JPEG's own mark (ISO/IEC 10918-1, 1994)
        assert!(bytes.starts_with(&[0xff, 0xd8, 0xff]), "{}", rule.name);
    }
    let names: BTreeSet<_> = rules.iter().map(|r| &r.name).collect();
    assert_eq!(page.matches("(pictures/rules/").count(), names.len());
}
