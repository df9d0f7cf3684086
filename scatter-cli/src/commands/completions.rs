//! `strew completions`: a script that completes the command line.

use clap::CommandFactory;
use scatter::error::Result;

use crate::args::{Cli, Completions};
use crate::output::Output;

pub(crate) fn run(args: &Completions, output: &Output) -> Result<()> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "strew", &mut script);
    output.data(&String::from_utf8_lossy(&script))
}
