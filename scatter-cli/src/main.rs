//! the `strew` command: reads the arguments, runs one command, says what became of it.

mod args;
mod commands;
mod output;
mod tips;

use std::process::ExitCode;

use clap::Parser;

use args::{Cli, Command};
use output::Output;

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(told) => return output::usage(&tips::with(told)),
    };
    let output = Output::new(cli.quiet);
    let done = match &cli.command {
        Command::Compare(args) => return commands::compare::run(args, &output),
        Command::New(args) => commands::new::run(args, &output),
        Command::Dress(args) => commands::dress::run(args, &output),
        Command::Look(args) => commands::look::run(args, &output),
        Command::At(args) => commands::at::run(args, &output),
        Command::Takes(args) => commands::takes::run(args, &output),
        Command::Plan(args) => commands::plan::run(args, &output),
        Command::Kit(args) => commands::kit::run(args, &output),
        Command::Presets(args) => commands::presets::run(args, &output),
        Command::Schema(args) => commands::schema::run(args, &output),
        Command::Completions(args) => commands::completions::run(args, &output),
        Command::Man(args) => commands::man::run(args, &output),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => output.failed(&error),
    }
}
