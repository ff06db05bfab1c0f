//! A storage in memory that keeps only what was flushed, and of the rest whatever a power cut likes.
//!
//! What is written is seen at once and lasts only after its flush. A cut keeps any subset of the unflushed effects:
//! each page of a file, its length, each name made, replaced or removed in a folder. So a rename may survive
//! without the bytes of its file, one half of it without the other, a later effect without an earlier one.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, ErrorKind};
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard};

use ecgkeep_archive::storage::{Hold, Lock, Readers, Storage};

use crate::mutants::Mutant;

/// Small pages, so that small files are torn in the middle too.
const PAGE: usize = 256;

#[derive(Clone)]
enum Node {
    File(File),
    Folder(Folder),
}

#[derive(Clone, Default)]
struct File {
    lasting: Arc<Vec<u8>>,
    now: Arc<Vec<u8>>,
    /// Pages that were written and not flushed.
    dirty: BTreeSet<usize>,
    is_length_dirty: bool,
}

#[derive(Clone, Default)]
struct Folder {
    lasting: BTreeMap<String, usize>,
    now: BTreeMap<String, usize>,
    /// Names set or removed and not flushed, in their order.
    dirty: Vec<(String, Option<usize>)>,
}

/// A file system at one moment.
#[derive(Clone)]
pub struct World {
    nodes: Vec<Node>,
}

/// What goes wrong at one operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failure {
    /// It fails and does nothing; a flush loses what it should have flushed, while it can still be read.
    Error,
    /// Half of what should be written is.
    Short,
    /// From here on everything that needs room fails, and half of it is written.
    Full,
}

/// Something to be told of the world just before each operation that changes it.
type Watch = Box<dyn FnMut(&World) + Send>;

/// Something done to the world later.
type Act = Box<dyn FnOnce(&mut World) + Send>;

pub struct State {
    pub world: World,
    /// How many operations were asked for, reading included.
    pub asked: u64,
    /// How many bytes were read.
    pub read: u64,
    pub fails: Option<(u64, Failure)>,
    pub mutant: Option<Mutant>,
    /// Operations that a mutant holds back.
    pub held: Vec<Act>,
    pub watch: Option<Watch>,
}

#[derive(Clone)]
pub struct Simulated(Arc<Mutex<State>>);

struct NoLock;
impl Lock for NoLock {}

impl World {
    fn empty() -> World {
        World { nodes: vec![Node::Folder(Folder::default())] }
    }

    fn find(&self, path: &Path) -> io::Result<usize> {
        path.iter().try_fold(0, |at, part| {
            let name = part.to_str().ok_or(ErrorKind::InvalidInput)?;
            if name == "/" {
                return Ok(0);
            }
            Ok(*self.folder(at)?.now.get(name).ok_or(ErrorKind::NotFound)?)
        })
    }

    fn folder(&self, at: usize) -> io::Result<&Folder> {
        match &self.nodes[at] {
            Node::Folder(folder) => Ok(folder),
            Node::File(_) => Err(ErrorKind::NotADirectory.into()),
        }
    }

    fn file(&mut self, path: &Path) -> io::Result<&mut File> {
        let at = self.find(path)?;
        match &mut self.nodes[at] {
            Node::File(file) => Ok(file),
            Node::Folder(_) => Err(ErrorKind::IsADirectory.into()),
        }
    }

    fn bytes(&self, path: &Path) -> io::Result<&[u8]> {
        match &self.nodes[self.find(path)?] {
            Node::File(file) => Ok(&file.now),
            Node::Folder(_) => Err(ErrorKind::IsADirectory.into()),
        }
    }

    /// Sets or removes a name in the folder that holds `path`.
    fn name(&mut self, path: &Path, node: Option<usize>) -> io::Result<()> {
        let at = self.find(path.parent().ok_or(ErrorKind::InvalidInput)?)?;
        let name = path.file_name().and_then(|name| name.to_str()).ok_or(ErrorKind::InvalidInput)?;
        let Node::Folder(folder) = &mut self.nodes[at] else { return Err(ErrorKind::NotADirectory.into()) };
        match node {
            Some(node) => folder.now.insert(name.to_owned(), node),
            None => folder.now.remove(name),
        };
        folder.dirty.push((name.to_owned(), node));
        Ok(())
    }

    fn add(&mut self, path: &Path, node: Node) -> io::Result<()> {
        if self.find(path).is_ok() {
            return Err(ErrorKind::AlreadyExists.into());
        }
        self.nodes.push(node);
        self.name(path, Some(self.nodes.len() - 1))
    }

    pub fn rename(&mut self, from: &Path, to: &Path) -> io::Result<()> {
        let node = self.find(from)?;
        self.name(to, Some(node))?;
        self.name(from, None)
    }

    pub fn append(&mut self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        if self.find(path).is_err() {
            self.add(path, Node::File(File::default()))?;
        }
        self.file(path)?.write(bytes);
        Ok(())
    }

    pub fn sync(&mut self, path: &Path) -> io::Result<()> {
        self.file(path)?.flush();
        Ok(())
    }

    pub fn sync_folder(&mut self, path: &Path) -> io::Result<()> {
        let at = self.find(path)?;
        if let Node::Folder(folder) = &mut self.nodes[at] {
            folder.lasting = folder.now.clone();
            folder.dirty.clear();
        }
        Ok(())
    }

    /// Flushes the file that stood under `path` in an earlier world.
    pub fn flush_same_file(&mut self, earlier: &World, path: &Path) {
        if let Some(Node::File(file)) = earlier.find(path).ok().and_then(|at| self.nodes.get_mut(at)) {
            file.flush();
        }
    }

    /// The number of effects that a cut may keep or drop.
    pub fn unflushed(&self) -> usize {
        let count = |node: &Node| match node {
            Node::File(file) => file.dirty.len() + usize::from(file.is_length_dirty),
            Node::Folder(folder) => folder.dirty.len(),
        };
        self.nodes.iter().map(count).sum()
    }

    /// What is left after a cut that keeps the effects for which `keep` says so, asked once for each.
    pub fn after_cut(&self, keep: &mut dyn FnMut() -> bool) -> World {
        let nodes = self.nodes.iter().map(|node| match node {
            Node::File(file) => Node::File(file.after_cut(keep)),
            Node::Folder(folder) => Node::Folder(folder.after_cut(keep)),
        });
        World { nodes: nodes.collect() }
    }

    /// Every file in it, by path.
    pub fn files(&self) -> BTreeMap<String, Arc<Vec<u8>>> {
        let mut found = BTreeMap::new();
        self.walk(0, "", &mut found);
        found
    }

    fn walk(&self, at: usize, above: &str, found: &mut BTreeMap<String, Arc<Vec<u8>>>) {
        match &self.nodes[at] {
            Node::File(file) => {
                found.insert(above.to_owned(), file.now.clone());
            }
            Node::Folder(folder) => {
                folder
                    .now
                    .iter()
                    .for_each(|(name, node)| self.walk(*node, &format!("{above}/{name}"), found));
            }
        }
    }
}

impl File {
    fn write(&mut self, bytes: &[u8]) {
        let from = self.now.len();
        Arc::make_mut(&mut self.now).extend_from_slice(bytes);
        self.touch(from, self.now.len());
    }

    fn touch(&mut self, from: usize, to: usize) {
        self.dirty.extend(from / PAGE..to.div_ceil(PAGE));
        self.is_length_dirty = true;
    }

    fn flush(&mut self) {
        self.lasting = self.now.clone();
        self.forget();
    }

    /// What was unflushed counts as clean: it can be read, and no later flush writes it.
    fn forget(&mut self) {
        self.dirty.clear();
        self.is_length_dirty = false;
    }

    fn after_cut(&self, keep: &mut dyn FnMut() -> bool) -> File {
        if self.dirty.is_empty() && !self.is_length_dirty {
            return File { now: self.lasting.clone(), lasting: self.lasting.clone(), ..File::default() };
        }
        let mut bytes = self.lasting.to_vec();
        if self.is_length_dirty && keep() {
            bytes.resize(self.now.len(), 0);
        }
        for page in &self.dirty {
            let end = ((page + 1) * PAGE).min(bytes.len()).min(self.now.len());
            if keep() && page * PAGE < end {
                bytes[page * PAGE..end].copy_from_slice(&self.now[page * PAGE..end]);
            }
        }
        let bytes = Arc::new(bytes);
        File { lasting: bytes.clone(), now: bytes, ..File::default() }
    }
}

impl Folder {
    fn after_cut(&self, keep: &mut dyn FnMut() -> bool) -> Folder {
        let mut names = self.lasting.clone();
        for (name, node) in &self.dirty {
            match node {
                _ if !keep() => {}
                Some(node) => drop(names.insert(name.clone(), *node)),
                None => drop(names.remove(name)),
            }
        }
        Folder { lasting: names.clone(), now: names, dirty: Vec::new() }
    }
}

impl Simulated {
    pub fn new() -> Simulated {
        Simulated::on(World::empty())
    }

    pub fn on(world: World) -> Simulated {
        let state =
            State { world, asked: 0, read: 0, fails: None, mutant: None, held: Vec::new(), watch: None };
        Simulated(Arc::new(Mutex::new(state)))
    }

    pub fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().expect("no test panics in here")
    }

    pub fn world(&self) -> World {
        self.state().world.clone()
    }

    /// An operation that only looks.
    fn look<T>(&self, act: impl FnOnce(&World) -> io::Result<T>) -> io::Result<T> {
        let mut state = self.state();
        state.asked += 1;
        if state.fails == Some((state.asked, Failure::Error)) {
            return Err(io::Error::from_raw_os_error(5));
        }
        act(&state.world)
    }

    /// One that reads.
    fn bytes(&self, act: impl FnOnce(&World) -> io::Result<Vec<u8>>) -> io::Result<Vec<u8>> {
        let bytes = self.look(act)?;
        self.state().read += bytes.len() as u64;
        Ok(bytes)
    }

    /// An operation that changes something; the failure that is due is handed to it.
    fn change<T>(&self, act: impl FnOnce(&mut State, Option<Failure>) -> io::Result<T>) -> io::Result<T> {
        let mut state = self.state();
        state.asked += 1;
        if let Some(mut watch) = state.watch.take() {
            watch(&state.world);
            state.watch = Some(watch);
        }
        let due = state
            .fails
            .filter(|(at, kind)| state.asked == *at || (*kind == Failure::Full && state.asked > *at));
        act(&mut state, due.map(|(_, kind)| kind))
    }

    /// One that only fails or does not.
    fn plain<T>(&self, act: impl FnOnce(&mut World) -> io::Result<T>) -> io::Result<T> {
        self.change(|state, due| match due {
            Some(Failure::Error) => Err(io::Error::from_raw_os_error(5)),
            _ => act(&mut state.world),
        })
    }
}

/// ENOSPC.
fn full() -> io::Error {
    ErrorKind::StorageFull.into()
}

impl Storage for Simulated {
    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        self.bytes(|world| Ok(world.bytes(path)?.to_vec()))
    }

    fn read_from(&self, path: &Path, offset: u64) -> io::Result<Vec<u8>> {
        let offset = usize::try_from(offset).expect("small files");
        self.bytes(|world| Ok(world.bytes(path)?.get(offset..).unwrap_or_default().to_vec()))
    }

    fn read_part(&self, path: &Path, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        let offset = usize::try_from(offset).expect("small files");
        self.bytes(|world| {
            let rest = world.bytes(path)?.get(offset..).unwrap_or_default();
            Ok(rest[..length.min(rest.len())].to_vec())
        })
    }

    fn names(&self, folder: &Path) -> io::Result<Vec<String>> {
        self.look(|world| Ok(world.folder(world.find(folder)?)?.now.keys().cloned().collect()))
    }

    fn size(&self, path: &Path) -> io::Result<Option<u64>> {
        self.look(|world| {
            Ok(world.find(path).ok().map(|at| match &world.nodes[at] {
                Node::File(file) => file.now.len() as u64,
                Node::Folder(_) => 0,
            }))
        })
    }

    fn make_folder(&self, path: &Path) -> io::Result<bool> {
        self.change(|state, due| match due {
            Some(Failure::Error) => Err(io::Error::from_raw_os_error(5)),
            _ if state.world.find(path).is_ok() => Ok(false),
            Some(_) => Err(full()),
            None => state.world.add(path, Node::Folder(Folder::default())).map(|()| true),
        })
    }

    fn create(&self, path: &Path, bytes: &[u8], _: Readers) -> io::Result<()> {
        self.change(|state, due| {
            if due == Some(Failure::Error) {
                return Err(io::Error::from_raw_os_error(5));
            }
            if state.skips_create(path) {
                return Ok(());
            }
            state.world.add(path, Node::File(File::default()))?;
            let written = if due.is_some() { bytes.len() / 2 } else { bytes.len() };
            state.world.file(path)?.write(&bytes[..written]);
            if due.is_some() { Err(full()) } else { Ok(()) }
        })
    }

    fn sync(&self, path: &Path) -> io::Result<()> {
        self.change(|state, due| {
            if due == Some(Failure::Error) {
                state.world.file(path)?.forget();
                return Err(io::Error::from_raw_os_error(5));
            }
            if state.skips_sync(path) { Ok(()) } else { state.world.sync(path) }
        })
    }

    fn place(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.change(|state, due| {
            if due == Some(Failure::Error) {
                return Err(io::Error::from_raw_os_error(5));
            }
            if state.world.find(to).is_ok() {
                return Err(ErrorKind::AlreadyExists.into());
            }
            if state.holds_rename(from, to) { Ok(()) } else { state.world.rename(from, to) }
        })
    }

    fn replace(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.plain(|world| world.rename(from, to))
    }

    /// A folder that could not be flushed stays unflushed: metadata journals keep it or give up altogether.
    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        self.change(|state, due| match due {
            Some(Failure::Error) => Err(io::Error::from_raw_os_error(5)),
            _ if state.skips_sync_folder(path) => Ok(()),
            _ => state.world.sync_folder(path),
        })
    }

    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        self.change(|state, due| {
            if due == Some(Failure::Error) {
                return Err(io::Error::from_raw_os_error(5));
            }
            let written = if due.is_some() { bytes.len() / 2 } else { bytes.len() };
            if !state.holds_append(path, bytes) {
                state.world.append(path, &bytes[..written])?;
                state.release_after_append();
            }
            if due.is_some() { Err(full()) } else { Ok(()) }
        })
    }

    fn truncate(&self, path: &Path, length: u64) -> io::Result<()> {
        let length = usize::try_from(length).expect("small files");
        self.change(|state, due| {
            if due == Some(Failure::Error) {
                return Err(io::Error::from_raw_os_error(5));
            }
            if state.skips_truncate() {
                return Ok(());
            }
            let file = state.world.file(path)?;
            let before = file.now.len();
            Arc::make_mut(&mut file.now).resize(length, 0);
            file.touch(length, before.max(length));
            Ok(())
        })
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.change(|state, due| {
            if due == Some(Failure::Error) {
                return Err(io::Error::from_raw_os_error(5));
            }
            state.world.find(path)?;
            state.world.name(path, None)?;
            state.release_after_remove();
            Ok(())
        })
    }

    fn lock(&self, _: &Path, _: Hold) -> io::Result<Box<dyn Lock>> {
        Ok(Box::new(NoLock))
    }
}
