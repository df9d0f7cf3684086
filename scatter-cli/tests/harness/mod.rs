//! Runs the command in a fresh folder with an empty environment; a failed check shows command,
//! stdout and stderr.

use std::collections::BTreeMap;
use std::fmt;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use scatter_tests::bad_input;
use serde_json::Value;
use tempfile::TempDir;

/// A fresh folder.
#[derive(Debug)]
pub(crate) struct Dir(TempDir);

/// What a command did.
#[derive(Debug)]
pub(crate) struct Run {
    command: String,
    pub(crate) status: Option<i32>,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Dir {
    pub(crate) fn new() -> Self {
        Self(TempDir::new().expect("a folder for temporary files"))
    }

    /// One with the corpus's good shot, changed.
    pub(crate) fn with_shot(change: impl FnOnce(&mut Value)) -> Self {
        let dir = Self::new();
        let mut shot = bad_input::base();
        change(&mut shot);
        dir.write("shot.json", shot.to_string());
        dir
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    /// Writes a file, with the folders on its way.
    pub(crate) fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        let path = self.path().join(name);
        fs::create_dir_all(path.parent().expect("a folder above")).expect("folders");
        fs::write(path, content).expect("a file");
    }

    /// Every file and folder below, with the files' bytes.
    pub(crate) fn contents(&self) -> BTreeMap<PathBuf, Option<Vec<u8>>> {
        let mut found = BTreeMap::new();
        let mut folders = vec![self.path().to_path_buf()];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).expect("a folder") {
                let path = entry.expect("an entry").path();
                if path.is_dir() {
                    found.insert(path.clone(), None);
                    folders.push(path);
                } else {
                    found.insert(path.clone(), Some(fs::read(&path).expect("a file")));
                }
            }
        }
        found
    }

    /// Runs `strew` with `args`.
    pub(crate) fn run(&self, args: &[&str]) -> Run {
        self.finish(self.command(args), args)
    }

    /// Runs `strew` with `args` and standard output into `file`.
    pub(crate) fn run_into(&self, args: &[&str], file: &str) -> Run {
        let mut command = self.command(args);
        let out = File::options().write(true).open(file).expect(file);
        command.stdout(out);
        self.finish(command, args)
    }

    /// Runs `strew` with `args`, where no file may grow beyond `kib` KiB: writing fails as on a
    /// full disk.
    pub(crate) fn run_with_file_limit(&self, args: &[&str], kib: u64) -> Run {
        // Without the signal that would end the process, the system call fails instead. POSIX
        // counts in 512 bytes.
        self.run_after(&format!("trap '' XFSZ; ulimit -f {}", 2 * kib), args)
    }

    /// Runs `strew` with `args` in at most `kib` KiB of addresses, in which all of its memory has
    /// to be.
    pub(crate) fn run_in_memory(&self, args: &[&str], kib: u64) -> Run {
        self.run_after(&format!("ulimit -v {kib}"), args)
    }

    /// Runs `strew` with `args` in a shell that was told something before.
    fn run_after(&self, told: &str, args: &[&str]) -> Run {
        let script = format!("{told}; exec \"$0\" \"$@\"");
        let mut command = Command::new("/bin/sh");
        command
            .args(["-c", &script, env!("CARGO_BIN_EXE_strew")])
            .args(args);
        self.fresh(&mut command);
        self.finish(command, args)
    }

    /// `strew` with `args`, in this folder.
    pub(crate) fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_strew"));
        command.args(args);
        self.fresh(&mut command);
        command
    }

    fn fresh(&self, command: &mut Command) {
        command
            .current_dir(self.path())
            .env_clear()
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
    }

    fn finish(&self, mut command: Command, args: &[&str]) -> Run {
        let output = command
            .spawn()
            .and_then(|child| child.wait_with_output())
            .expect("the command runs");
        Run {
            command: format!("strew {}", args.join(" ")),
            status: output.status.code(),
            stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
            stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}

impl Run {
    #[track_caller]
    pub(crate) fn status(self, expected: i32) -> Self {
        assert_eq!(self.status, Some(expected), "exit status\n{self}");
        self
    }

    #[track_caller]
    pub(crate) fn stderr_has(self, words: &str) -> Self {
        assert!(self.stderr.contains(words), "no {words:?}\n{self}");
        self
    }

    #[track_caller]
    pub(crate) fn stdout_has(self, words: &str) -> Self {
        assert!(self.stdout.contains(words), "no {words:?}\n{self}");
        self
    }

    #[track_caller]
    pub(crate) fn stdout_is(self, text: &str) -> Self {
        assert_eq!(self.stdout, text, "{self}");
        self
    }

    #[track_caller]
    pub(crate) fn stderr_is(self, text: &str) -> Self {
        assert_eq!(self.stderr, text, "{self}");
        self
    }
}

impl fmt::Display for Run {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "$ {}\n-- status {:?}\n-- stdout\n{}\n-- stderr\n{}",
            self.command, self.status, self.stdout, self.stderr
        )
    }
}
