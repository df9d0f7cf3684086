//! Files that appear together or not at all.
//!
//! Each file is written under a temporary name beside its target, so that the last step is a
//! rename, which the system does whole or not at all. An old file keeps a second name (a hard link)
//! until every rename is done; if a later one fails, the old files get their names back.
//!
//! Temporary files are held under the system's lock (flock) while a run works on them. A run that
//! was killed leaves its own without a lock; the next delivery into the folder takes them away.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::thread::{self, JoinHandle};

use tempfile::NamedTempFile;

use super::DeliveredFile;
use crate::error::{Error, ErrorKind, Fault, Result};

/// Large enough that a system call costs nothing against the bytes that it moves.
const BUFFER_BYTES: usize = 256 * 1024;

/// A set of files on their way into one folder. Dropped before [`Delivery::commit`], it leaves no
/// trace.
#[derive(Debug)]
pub(super) struct Delivery {
    dir: PathBuf,
    staged: Vec<Staged>,
    /// Folders made for this delivery, outermost first.
    made: Vec<PathBuf>,
}

/// A complete file under a temporary name.
#[derive(Debug)]
struct Staged {
    target: PathBuf,
    temp: NamedTempFile,
    bytes: u64,
    /// Brings the bytes to the disk while other files are written.
    syncing: JoinHandle<io::Result<()>>,
}

impl Delivery {
    /// Begins a delivery into `dir`, which is made if missing.
    pub(super) fn open(dir: &Path) -> Result<Self> {
        let mut delivery = Self {
            dir: dir.to_path_buf(),
            staged: Vec::new(),
            made: Vec::new(),
        };
        delivery.make(dir)?;
        Ok(delivery)
    }

    /// Makes a folder, and those that it is in, if missing.
    fn make(&mut self, dir: &Path) -> Result<()> {
        let missing: Vec<&Path> = dir
            .ancestors()
            .take_while(|p| !p.as_os_str().is_empty() && !p.exists())
            .collect();
        for folder in missing.into_iter().rev() {
            fs::create_dir(folder).map_err(|e| {
                Error::io(
                    folder,
                    "can't make the folder",
                    &e,
                    "deliver into a folder that you may write to",
                )
            })?;
            self.made.push(folder.to_path_buf());
        }
        if !dir.as_os_str().is_empty() && !dir.is_dir() {
            let fault = Fault::new(
                "",
                "a file stands where the folder should be",
                "deliver into another folder, or move that file away",
            );
            return Err(Error::new(ErrorKind::Failed, fault).in_file(dir));
        }
        Ok(())
    }

    /// Writes a file in full under a temporary name; returns its length in bytes. The name may have
    /// folders in it, parted by slashes.
    pub(super) fn stage(
        &mut self,
        name: &str,
        write: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
    ) -> Result<u64> {
        let target = self.dir.join(name);
        if name.contains('/')
            && let Some(parent) = target.parent()
        {
            self.make(parent)?;
        }
        if target.is_dir() {
            let fault = Fault::new(
                "",
                "a folder stands where the file should be",
                "move that folder away, or deliver into another one",
            );
            return Err(Error::new(ErrorKind::Failed, fault).in_file(&target));
        }
        let mut temp = temporary(PREFIX)
            .tempfile_in(self.folder())
            .map_err(|e| cannot_write(&target, &e))?;
        hold(temp.as_file());
        let bytes = fill(temp.as_file_mut(), write)
            .and_then(|()| temp.as_file().metadata())
            .map_err(|e| cannot_write(&target, &e))?
            .len();
        let file = temp
            .as_file()
            .try_clone()
            .map_err(|e| cannot_write(&target, &e))?;
        let syncing = thread::spawn(move || file.sync_data());
        self.staged.push(Staged {
            target,
            temp,
            bytes,
            syncing,
        });
        Ok(bytes)
    }

    /// Gives all staged files their names.
    pub(super) fn commit(mut self) -> Result<Vec<DeliveredFile>> {
        let mut complete = Vec::new();
        for file in std::mem::take(&mut self.staged) {
            // Some file systems tell of a full disk only when the bytes go there.
            let synced = file.syncing.join();
            synced
                .unwrap_or_else(|_| Err(io::Error::other("writing was broken off")))
                .map_err(|e| cannot_write(&file.target, &e))?;
            complete.push((file.target, file.temp, file.bytes));
        }
        let mut delivered = Vec::new();
        let mut replaced: Vec<(PathBuf, Option<Second>)> = Vec::new();
        for (target, temp, bytes) in complete {
            let renamed = self.second_name(&target).and_then(|old| {
                temp.persist(&target).map_err(|e| e.error)?;
                Ok(old)
            });
            match renamed {
                Ok(old) => replaced.push((target.clone(), old)),
                Err(e) => {
                    put_back(replaced);
                    return Err(cannot_write(&target, &e));
                }
            }
            delivered.push(DeliveredFile {
                path: target,
                bytes,
            });
        }
        self.made.clear();
        drop(replaced);
        self.sweep();
        Ok(delivered)
    }

    /// Gives an existing file a second name, which goes when the result is dropped.
    fn second_name(&self, target: &Path) -> io::Result<Option<Second>> {
        if target.symlink_metadata().is_err() {
            return Ok(None);
        }
        let name = temporary(PREFIX).make_in(self.folder(), |second| {
            match fs::hard_link(target, second) {
                Err(e) if e.kind() == io::ErrorKind::AlreadyExists => Err(e),
                // Not every file system has links.
                Err(_) => fs::copy(target, second).map(|_| ()),
                Ok(()) => Ok(()),
            }
        })?;
        let held = File::open(name.path()).ok();
        if let Some(file) = &held {
            hold(file);
        }
        Ok(Some(Second { name, _held: held }))
    }

    /// Takes away what killed runs have left: temporary files that nobody holds. What can't be
    /// taken away stays.
    fn sweep(&self) {
        let entries = fs::read_dir(self.folder());
        for entry in entries.into_iter().flatten().flatten() {
            let name = entry.file_name();
            let name = name.to_string_lossy();
            let ours = name.starts_with(PREFIX);
            let is_file = entry.file_type().is_ok_and(|t| t.is_file());
            if !(name.starts_with(OTHERS) && name.ends_with(SUFFIX) && is_file) {
                continue;
            }
            let age = entry.metadata().and_then(|m| m.modified()).ok();
            let age = age.and_then(|t| t.elapsed().ok()).unwrap_or_default();
            if !ours && age.as_secs() < ABANDONED_S {
                continue;
            }
            let path = entry.path();
            let left = File::open(&path).is_ok_and(|file| file.try_lock().is_ok());
            if left {
                let _ = fs::remove_file(&path);
            }
        }
    }

    /// The folder as a path that is never empty.
    fn folder(&self) -> &Path {
        if self.dir.as_os_str().is_empty() {
            Path::new(".")
        } else {
            &self.dir
        }
    }
}

/// The second name of an old file, which goes when this is dropped, and the old file under lock.
#[derive(Debug)]
struct Second {
    name: NamedTempFile<()>,
    _held: Option<File>,
}

/// Marks a file as in use. A file system without locks does not hinder the delivery; it only keeps
/// leftovers apart less well.
fn hold(file: &File) {
    let _ = file.try_lock();
}

impl Drop for Delivery {
    fn drop(&mut self) {
        self.staged.clear();
        for folder in self.made.iter().rev() {
            // A folder that someone else has put a file into stays.
            let _ = fs::remove_dir(folder);
        }
    }
}

/// Undoes renames: old files get their names back, new ones go. A second failure can't be helped.
fn put_back(replaced: Vec<(PathBuf, Option<Second>)>) {
    for (target, old) in replaced.into_iter().rev() {
        match old {
            Some(old) => {
                if let Ok(second) = old.name.into_temp_path().keep() {
                    let _ = fs::rename(second, &target);
                }
            }
            None => {
                let _ = fs::remove_file(&target);
            }
        }
    }
}

/// Temporary names can be told at sight if a killed run leaves one: `.strew-delivery-a1B2c3.tmp`.
const PREFIX: &str = ".strew-delivery-";
const SUFFIX: &str = ".tmp";

/// What other temporary files of the program begin with, such as those of pictures, which are not
/// locked.
const OTHERS: &str = ".strew-";
/// Nobody works on another temporary file that was last written to so long ago, seconds: a picture
/// takes a few at most.
const ABANDONED_S: u64 = 60;

fn temporary(prefix: &'static str) -> tempfile::Builder<'static, 'static> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(prefix).suffix(SUFFIX);
    // As readable as any new file: what the user's mask leaves of this.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    builder
}

/// Writes a file in full.
fn fill(
    file: &mut File,
    write: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
) -> io::Result<()> {
    let mut out = BufWriter::with_capacity(BUFFER_BYTES, file);
    write(&mut out).and_then(|()| out.flush())?;
    // What was only buffered must not reach a file that has failed.
    drop(out.into_parts());
    Ok(())
}

/// A new file in the folder of `path`, which goes when it is not kept.
///
/// # Errors
/// The folder is missing or can't be written to.
pub(crate) fn beside(path: &Path) -> io::Result<NamedTempFile> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    temporary(OTHERS).tempfile_in(folder.unwrap_or(Path::new(".")))
}

/// Writes one file under another name in the same folder and gives it its name when all is there.
///
/// # Errors
/// The disk refuses; an old file of that name is then as it was.
pub fn replace(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
) -> io::Result<()> {
    let mut file = beside(path)?;
    fill(file.as_file_mut(), write)?;
    file.persist(path).map_err(|e| e.error)?;
    Ok(())
}

fn cannot_write(target: &Path, source: &io::Error) -> Error {
    let hint = match source.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "make room on the disk, or deliver to another one"
        }
        io::ErrorKind::FileTooLarge => "deliver to a disk that takes files of this length",
        _ => "deliver into a folder that you may write to",
    };
    Error::io(target, "can't write", source, hint)
}
