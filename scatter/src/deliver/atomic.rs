//! Files that appear together or not at all.
//!
//! Each file is written under a temporary name beside its target, so that the last step is a
//! rename, which the system does whole or not at all. An old file keeps a second name (a hard link)
//! until every rename is done; if a later one fails, the old files get their names back.
//!
//! Temporary files are held under the system's lock (flock) while a run works on them. A run that
//! was killed leaves its own without a lock; the next delivery into the folder takes them away.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::thread::{self, JoinHandle};

use tempfile::NamedTempFile;

use super::DeliveredFile;
use super::manifest::{FileRecord, sha256};
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
    record: FileRecord,
    /// Brings the bytes to the disk while other files are written.
    syncing: JoinHandle<io::Result<()>>,
}

/// A file under the name that it is known by, with what brings its old bytes back.
type Renamed = (PathBuf, Option<Second>);

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
            match fs::create_dir(folder) {
                Ok(()) => self.made.push(folder.to_path_buf()),
                // Another delivery made it in the meantime: it is that one's to take away
                Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
                Err(e) => {
                    let hint = "deliver into a folder that you may write to";
                    return Err(Error::io(folder, "can't make the folder", &e, hint));
                }
            }
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

    /// Writes a file in full under a temporary name; returns what it is known by. The name may have
    /// folders in it, parted by slashes.
    pub(super) fn stage(
        &mut self,
        name: &str,
        write: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
    ) -> Result<FileRecord> {
        let target = self.dir.join(name);
        if name.contains('/')
            && let Some(parent) = target.parent()
        {
            self.make(parent)?;
        }
        if let Some(what) = in_the_way(&target) {
            let fault = Fault::new(
                "",
                format!("{what} stands where the file should be"),
                "move it away, or deliver into another folder",
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
        let record = FileRecord {
            name: name.to_owned(),
            bytes,
            sha256: sha256(temp.path()).map_err(|e| cannot_write(&target, &e))?,
        };
        let file = temp
            .as_file()
            .try_clone()
            .map_err(|e| cannot_write(&target, &e))?;
        let syncing = thread::spawn(move || file.sync_data());
        self.staged.push(Staged {
            target,
            temp,
            record: record.clone(),
            syncing,
        });
        Ok(record)
    }

    /// Gives all staged files their names, the last one when all others have theirs and the files
    /// of `retired`, paths in the folder, are gone.
    pub(super) fn commit(mut self, retired: &[String]) -> Result<Vec<DeliveredFile>> {
        let mut complete = Vec::new();
        for file in std::mem::take(&mut self.staged) {
            // Some file systems tell of a full disk only when the bytes go there.
            let synced = file.syncing.join();
            synced
                .unwrap_or_else(|_| Err(io::Error::other("writing was broken off")))
                .map_err(|e| cannot_write(&file.target, &e))?;
            complete.push((file.target, file.temp, file.record.bytes));
        }
        let last = complete.pop();
        let mut replaced: Vec<Renamed> = Vec::new();
        let renamed = self.exchange(complete, retired, last, &mut replaced);
        match renamed {
            Ok(delivered) => {
                self.made.clear();
                drop(replaced);
                for name in retired {
                    // A folder that still holds something stays
                    let folder = self.dir.join(name).parent().map(Path::to_path_buf);
                    let inner = folder.filter(|f| *f != self.dir);
                    let _ = inner.map(fs::remove_dir);
                }
                self.sweep();
                Ok(delivered)
            }
            Err(e) => {
                put_back(replaced);
                Err(e)
            }
        }
    }

    /// Renames, takes away, and renames the last file; `replaced` is what brings all back.
    fn exchange(
        &self,
        complete: Vec<Complete>,
        retired: &[String],
        last: Option<Complete>,
        replaced: &mut Vec<Renamed>,
    ) -> Result<Vec<DeliveredFile>> {
        let mut delivered = Vec::new();
        let mut rename = |file: Complete, replaced: &mut Vec<Renamed>| -> Result<()> {
            let (target, temp, bytes) = file;
            let in_place = self.second_name(&target).and_then(|old| {
                temp.persist(&target).map_err(|e| e.error)?;
                Ok(old)
            });
            let old = in_place.map_err(|e| cannot_write(&target, &e))?;
            replaced.push((target.clone(), old));
            delivered.push(DeliveredFile {
                path: target,
                bytes,
            });
            Ok(())
        };
        for file in complete {
            rename(file, replaced)?;
        }
        for name in retired {
            let target = self.dir.join(name);
            let removed = self.second_name(&target).and_then(|old| {
                fs::remove_file(&target)?;
                Ok(old)
            });
            let old = removed.map_err(|e| cannot_write(&target, &e))?;
            replaced.push((target, old));
        }
        self.sync_folders(replaced);
        if let Some(file) = last {
            rename(file, replaced)?;
            self.sync_folders(&[]);
        }
        Ok(delivered)
    }

    /// Brings the names to the disk: of the folder, and of the folders in it that files are in. A
    /// system that can't sync a folder keeps names in its own way.
    fn sync_folders(&self, files: &[Renamed]) {
        let inner = files.iter().filter_map(|(path, _)| path.parent());
        let folders: BTreeSet<&Path> = inner.chain([self.folder()]).collect();
        for folder in folders {
            let _ = File::open(folder).and_then(|f| f.sync_all());
        }
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

/// A file that is written: where it belongs, where it is, and its length in bytes.
type Complete = (PathBuf, NamedTempFile, u64);

/// What is no ordinary file and must not be replaced by one.
pub(crate) fn in_the_way(target: &Path) -> Option<&'static str> {
    let kind = fs::metadata(target).ok()?.file_type();
    if kind.is_dir() {
        Some("a folder")
    } else if !kind.is_file() {
        Some("a device or a pipe")
    } else {
        None
    }
}

/// Whether a delivery into a folder was cut off: files wait there under temporary names, and nobody
/// works on them.
pub(super) fn is_cut_off(folder: &Path) -> bool {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.into_iter().any(|entry| {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        name.starts_with(PREFIX)
            && name.ends_with(SUFFIX)
            && entry.file_type().is_ok_and(|t| t.is_file())
            && File::open(entry.path()).is_ok_and(|file| file.try_lock().is_ok())
    })
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
    if let Some(what) = in_the_way(path) {
        let what = format!("{what} stands there");
        return Err(io::Error::new(io::ErrorKind::AlreadyExists, what));
    }
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
