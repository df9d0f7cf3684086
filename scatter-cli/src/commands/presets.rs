//! `strew presets`: what grounds are known.

use scatter::error::Result;
use scatter::shot::Preset;

use crate::args::Presets;
use crate::output::Output;

pub(crate) fn run(args: &Presets, output: &Output) -> Result<()> {
    let Some(name) = &args.name else {
        let presets = Preset::all()?;
        let width = presets.iter().map(|p| p.name.len()).max().unwrap_or(0);
        let lines: String = presets
            .iter()
            .map(|p| format!("{:width$}  {}\n", p.name, p.about))
            .collect();
        return output.data(&lines);
    };
    let preset = Preset::find(name)?;
    output.data(Preset::text(&preset.name).unwrap_or_default())
}
