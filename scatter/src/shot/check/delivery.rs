//! What is delivered, and in which space.

use super::faults::Faults;
use crate::shot::{Deliver, Format, Hand};

pub(super) fn check(deliver: &Deliver, faults: &mut Faults) {
    let formats = &deliver.formats;
    if formats.is_empty() {
        faults.add(
            "deliver.as",
            "the list is empty",
            "name at least one format, such as [\"glb\", \"json\"]",
        );
    }
    each_once("as", "format", formats, faults);
    each_once("include", "word", &deliver.include, faults);
    if deliver.space.hand == Hand::Left && formats.contains(&Format::Usda) {
        faults.add(
            "deliver.space.hand",
            "usda can't be left-handed: OpenUSD is right-handed by definition",
            "hand right for usda, or leave usda out of `as`",
        );
    }
}

fn each_once<T: PartialEq>(key: &str, what: &str, list: &[T], faults: &mut Faults) {
    for (i, item) in list.iter().enumerate() {
        if list[..i].contains(item) {
            faults.add(
                format!("deliver.{key}[{i}]"),
                format!("the {what} is there already"),
                format!("name each {what} once"),
            );
        }
    }
}
