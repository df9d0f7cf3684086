//! `strew schema`: the JSON Schema of shot files.

use scatter::error::Result;
use scatter::shot;

use crate::output::Output;

pub(crate) fn run(output: &Output) -> Result<()> {
    output.data(&format!("{:#}\n", shot::schema()))
}
