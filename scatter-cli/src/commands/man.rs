//! `strew man`: the manual, a page for each command, from the same words as `--help`.

use std::fs;
use std::io::Write as _;

use clap::{Command, CommandFactory};
use scatter::deliver::replace;
use scatter::error::{Error, Result};

use crate::args::{self, Cli};
use crate::output::Output;

pub(crate) fn run(args: &args::Man, output: &Output) -> Result<()> {
    let mut strew = Cli::command()
        .disable_help_subcommand(true)
        .subcommand_help_heading("COMMANDS")
        .subcommand_value_name("COMMAND");
    strew.build();
    let Some(folder) = &args.out else {
        let of = match &args.command {
            Some(name) => named(&strew, name)?,
            None => &strew,
        };
        return output.data(&page(of).1);
    };
    let hint = "name another folder with --out";
    fs::create_dir_all(folder).map_err(|e| Error::io(folder, "can't make the folder", &e, hint))?;
    let pages = [&strew].into_iter().chain(strew.get_subcommands());
    for (name, text) in pages.map(page) {
        let path = folder.join(name);
        replace(&path, |file| file.write_all(text.as_bytes()))
            .map_err(|e| Error::io(&path, "can't write the page", &e, hint))?;
    }
    Ok(())
}

fn named<'a>(strew: &'a Command, name: &str) -> Result<&'a Command> {
    strew.find_subcommand(name).ok_or_else(|| {
        let known: Vec<&str> = strew.get_subcommands().map(Command::get_name).collect();
        let problem = format!("there is no command `{name}`");
        Error::input("COMMAND", problem, format!("one of {}", known.join(", ")))
    })
}

/// The name of a command's page as a file, and the page.
fn page(command: &Command) -> (String, String) {
    let man = clap_mangen::Man::new(command.clone())
        .source(concat!("strew ", env!("CARGO_PKG_VERSION")))
        .manual("Strew");
    let mut page = Vec::new();
    // Writing to a Vec can't fail.
    let _ = man.render(&mut page);
    let page = String::from_utf8_lossy(&page);
    // What stands after the help is what the command's exit status means
    let page = page.replace(".SH EXTRA\nExit status: ", ".SH \"EXIT STATUS\"\n");
    (man.get_filename(), page)
}
