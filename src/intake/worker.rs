//! Worker: decoding of raw files in child processes, so that a decoder's abort, hang or greed costs one frame.
//!
//! A worker is the program itself, run with a hidden subcommand that calls [`serve`]. It answers requests one
//! after another over its standard input and output: a length (32-bit little-endian), that much JSON, and for
//! an answer with pixels their bytes. Workers are kept between requests. Without [`use_workers`] (as in a program
//! that only links the library) decoding happens in the process itself, where only panics are survived.

use std::io::{self, BufReader, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use image::RgbImage;
use serde::{Deserialize, Serialize};

use super::limits::{OVER_TIME, Watch, limit_memory};
use super::raw::Read as RawRead;
use super::rendered::MAX_PIXELS;
use super::{IntakeError, IntakeErrorKind, apart};
use crate::quantity::Flag;
use crate::shot::{JpegBlocks, Mosaic, Plane};

/// How workers are run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Workers {
    /// The program, which must be able to act as a worker.
    pub program: PathBuf,
    /// Its arguments, up to the two that give the limits.
    pub arguments: Vec<String>,
    /// Most memory a worker may map, bytes.
    pub memory: u64,
    /// Longest a file may take.
    pub time: Duration,
}

impl Workers {
    /// Memory enough for a 150-megapixel back, time enough for a slow disk.
    pub const MEMORY: u64 = 3 << 30;
    /// See [`Self::MEMORY`].
    pub const TIME: Duration = Duration::from_secs(120);
}

/// The setting and the workers that wait for work.
static POOL: Mutex<Pool> = Mutex::new(Pool { setting: None, idle: Vec::new() });

struct Pool {
    setting: Option<Arc<Workers>>,
    idle: Vec<Worker>,
}

/// Decodes raw files in child processes from now on; in this process if `None`.
pub fn use_workers(setting: Option<Workers>) {
    let mut pool = POOL.lock().unwrap_or_else(PoisonError::into_inner);
    pool.setting = setting.map(Arc::new);
    pool.idle.clear();
}

/// What is asked of a worker.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct Ask {
    path: Name,
    orientation: Option<u16>,
    quarter_turns: u8,
    /// A picture to look at rather than a plane.
    look: bool,
}

/// A path, whatever its encoding.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct Name(Vec<u8>);

impl Name {
    fn of(path: &Path) -> Self {
        Self(path.as_os_str().as_encoded_bytes().to_vec())
    }

    #[cfg(unix)]
    fn path(&self) -> PathBuf {
        use std::os::unix::ffi::OsStrExt as _;
        std::ffi::OsStr::from_bytes(&self.0).into()
    }

    #[cfg(not(unix))]
    fn path(&self) -> PathBuf {
        String::from_utf8_lossy(&self.0).into_owned().into()
    }
}

/// The head of an answer; pixels follow where there are any.
#[derive(Debug, Serialize, Deserialize)]
enum Answer {
    Plane(Form),
    Picture { width: u32, height: u32 },
    Failed { kind: IntakeErrorKind, problem: String, advice: String },
}

/// A plane without its samples, and its flags.
#[derive(Debug, Serialize, Deserialize)]
struct Form {
    size: (usize, usize),
    levels: (u16, u16, u16),
    /// Parity of a checkerboard.
    even: Option<bool>,
    /// Bits of a 6 x 6 pattern.
    six: Option<u64>,
    /// Block size, origin and luma steps.
    jpeg: Option<(usize, usize, usize, Vec<u16>)>,
    rendered: bool,
    flags: Vec<Flag>,
}

impl Form {
    fn of(read: &RawRead) -> Self {
        let plane = &read.plane;
        let (even, six) = match plane.mosaic {
            Mosaic::None => (None, None),
            Mosaic::Checkerboard { even } => (Some(even), None),
            Mosaic::Six(bits) => (None, Some(bits)),
        };
        Self {
            size: (plane.width, plane.height),
            levels: (plane.black, plane.white, plane.saturation),
            even,
            six,
            jpeg: plane.jpeg.as_ref().map(|j| (j.size, j.x0, j.y0, j.luma_steps.to_vec())),
            rendered: plane.rendered,
            flags: read.flags.clone(),
        }
    }

    fn with(self, data: Vec<u16>) -> RawRead {
        let mosaic = match (self.even, self.six) {
            (Some(even), _) => Mosaic::Checkerboard { even },
            (_, Some(bits)) => Mosaic::Six(bits),
            _ => Mosaic::None,
        };
        let jpeg = self
            .jpeg
            .and_then(|(size, x0, y0, steps)| Some(JpegBlocks { size, x0, y0, luma_steps: steps.try_into().ok()? }));
        let (width, height) = self.size;
        let (black, white, saturation) = self.levels;
        let plane = Plane { width, height, data, black, white, saturation, mosaic, jpeg, rendered: self.rendered };
        RawRead { plane, flags: self.flags }
    }
}

/// Luminance of a raw file, upright, decoded by a worker if there are any.
pub(super) fn plane(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Result<RawRead, IntakeError> {
    let ask = Ask { path: Name::of(path), orientation, quarter_turns, look: false };
    match asked(&ask, path)? {
        None => apart::plane(path, orientation, quarter_turns),
        Some((Answer::Plane(form), Pixels::Levels(data))) => Ok(form.with(data)),
        Some(_) => Err(strange(path)),
    }
}

/// A raw file as a picture to look at, upright, decoded by a worker if there are any.
pub(super) fn colour(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Result<RgbImage, IntakeError> {
    let ask = Ask { path: Name::of(path), orientation, quarter_turns, look: true };
    match asked(&ask, path)? {
        None => apart::colour(path, orientation, quarter_turns),
        Some((Answer::Picture { width, height }, Pixels::Colours(bytes))) => {
            RgbImage::from_raw(width, height, bytes).ok_or_else(|| strange(path))
        }
        Some(_) => Err(strange(path)),
    }
}

fn strange(path: &Path) -> IntakeError {
    IntakeError::damaged(path, "the raw decoder gave an answer that makes no sense")
}

enum Pixels {
    None,
    Levels(Vec<u16>),
    Colours(Vec<u8>),
}

/// Asks a worker; `None` where decoding is to happen in this process.
fn asked(ask: &Ask, path: &Path) -> Result<Option<(Answer, Pixels)>, IntakeError> {
    let (setting, mut idle) = {
        let mut pool = POOL.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(setting) = pool.setting.clone() else { return Ok(None) };
        (setting, pool.idle.pop())
    };
    // A worker that died while waiting (killed from outside) is replaced; one that dies at work has failed.
    let mut worker = loop {
        let mut worker = match idle.take().map_or_else(|| Worker::start(&setting), Ok) {
            Ok(worker) => worker,
            // Where no process can be started, decoding in this one is better than none.
            Err(_) => return Ok(None),
        };
        if worker.send(ask).is_ok() && !worker.has_ended() {
            break worker;
        }
        if worker.fresh {
            return Ok(None);
        }
    };
    match worker.receive() {
        Ok((Answer::Failed { kind, problem, advice }, _)) => {
            worker.put_back(&setting);
            Err(IntakeError::new(path, kind, problem, advice))
        }
        Ok(answer) => {
            worker.put_back(&setting);
            Ok(Some(answer))
        }
        Err(_) => Err(worker.verdict(path, &setting)),
    }
}

/// A child process that decodes.
struct Worker {
    child: Child,
    to: BufWriter<ChildStdin>,
    from: BufReader<ChildStdout>,
    /// Whether it has not answered yet.
    fresh: bool,
}

impl Worker {
    fn start(setting: &Workers) -> io::Result<Self> {
        // Threads of the decoders are shared out among the workers that run side by side.
        let side_by_side = rayon::current_num_threads().max(1);
        let threads = std::thread::available_parallelism().map_or(1, |n| n.get() / side_by_side).max(1);
        let mut child = Command::new(&setting.program)
            .args(&setting.arguments)
            .arg(setting.memory.to_string())
            .arg(setting.time.as_millis().to_string())
            .env("RAYON_NUM_THREADS", threads.to_string())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()?;
        match (child.stdin.take(), child.stdout.take()) {
            (Some(to), Some(from)) => {
                widen_pipe(&from);
                Ok(Self { child, to: BufWriter::new(to), from: BufReader::new(from), fresh: true })
            }
            _ => Err(io::ErrorKind::BrokenPipe.into()),
        }
    }

    fn send(&mut self, ask: &Ask) -> io::Result<()> {
        write_frame(&mut self.to, ask)?;
        self.to.flush()
    }

    fn has_ended(&mut self) -> bool {
        matches!(self.child.try_wait(), Ok(Some(_)) | Err(_))
    }

    fn receive(&mut self) -> io::Result<(Answer, Pixels)> {
        let answer: Answer = read_frame(&mut self.from)?;
        let pixels = match &answer {
            Answer::Failed { .. } => Pixels::None,
            Answer::Plane(form) => {
                let mut data = vec![0_u16; bounded(form.size.0, form.size.1)?];
                self.from.read_exact(bytemuck::cast_slice_mut(&mut data))?;
                Pixels::Levels(data)
            }
            Answer::Picture { width, height } => {
                let mut bytes = vec![0_u8; bounded(*width as usize, *height as usize)? * 3];
                self.from.read_exact(&mut bytes)?;
                Pixels::Colours(bytes)
            }
        };
        Ok((answer, pixels))
    }

    fn put_back(mut self, setting: &Arc<Workers>) {
        self.fresh = false;
        let mut pool = POOL.lock().unwrap_or_else(PoisonError::into_inner);
        if pool.setting.as_ref().is_some_and(|s| Arc::ptr_eq(s, setting)) {
            pool.idle.push(self);
        }
    }

    /// What the end of a worker at work says about its file.
    fn verdict(mut self, path: &Path, setting: &Workers) -> IntakeError {
        match self.child.wait() {
            Ok(status) if status.code() == Some(OVER_TIME) => {
                let seconds = setting.time.as_secs_f64();
                IntakeError::too_much(path, format!("decoding took longer than {seconds:.0} s and was stopped"))
            }
            Ok(status) if aborted(status) => {
                let memory = setting.memory as f64 / f64::from(1 << 30);
                IntakeError::too_much(
                    path,
                    format!("the raw decoder broke down, most likely for asking more than {memory:.1} GiB of memory"),
                )
            }
            _ => IntakeError::damaged(path, "the raw decoder broke down on it"),
        }
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        // It ends by itself when its input closes, unless it hangs. Nothing can be done where this fails.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Pixels of an answer, unless absurd.
fn bounded(width: usize, height: usize) -> io::Result<usize> {
    width.checked_mul(height).filter(|n| *n <= MAX_PIXELS).ok_or_else(|| io::ErrorKind::InvalidData.into())
}

/// Whether a process aborted or was killed, as one does that gets no memory.
#[cfg(unix)]
fn aborted(status: ExitStatus) -> bool {
    use std::os::unix::process::ExitStatusExt as _;
    matches!(status.signal(), Some(libc::SIGABRT | libc::SIGKILL))
}

#[cfg(not(unix))]
fn aborted(_status: ExitStatus) -> bool {
    false
}

/// Lets more of an answer be on its way at once, which saves turns between the two processes.
#[cfg(target_os = "linux")]
fn widen_pipe(pipe: &ChildStdout) {
    use std::os::fd::AsRawFd as _;
    // SAFETY: the descriptor is open as long as `pipe` is borrowed; a refusal changes nothing.
    unsafe { libc::fcntl(pipe.as_raw_fd(), libc::F_SETPIPE_SZ, 1 << 20) };
}

#[cfg(not(target_os = "linux"))]
const fn widen_pipe(_pipe: &ChildStdout) {}

/// Longest head of a frame that is believed.
const MAX_HEAD: u32 = 1 << 20;

fn write_frame(to: &mut impl Write, message: &impl Serialize) -> io::Result<()> {
    let json = serde_json::to_vec(message)?;
    to.write_all(&(json.len() as u32).to_le_bytes())?;
    to.write_all(&json)
}

fn read_frame<T: for<'a> Deserialize<'a>>(from: &mut impl Read) -> io::Result<T> {
    let mut length = [0; 4];
    from.read_exact(&mut length)?;
    let length = u32::from_le_bytes(length);
    if length > MAX_HEAD {
        return Err(io::ErrorKind::InvalidData.into());
    }
    let mut json = vec![0; length as usize];
    from.read_exact(&mut json)?;
    Ok(serde_json::from_slice(&json)?)
}

/// Answers requests until the input ends: the work of a worker process.
///
/// The decoders' own chatter and panics go nowhere; memory is limited where the system allows it.
///
/// # Errors
/// Where the other side is gone.
pub fn serve(memory: u64, time: Duration) -> io::Result<()> {
    std::panic::set_hook(Box::new(|_| {}));
    limit_memory(memory);
    let watch = Watch::start(time);
    let mut from = io::stdin().lock();
    let mut to = answers()?;
    loop {
        let ask: Ask = match read_frame(&mut from) {
            Ok(ask) => ask,
            Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => return Ok(()),
            Err(error) => return Err(error),
        };
        watch.begin();
        let path = ask.path.path();
        if ask.look {
            match apart::colour(&path, ask.orientation, ask.quarter_turns) {
                Ok(picture) => {
                    write_frame(&mut to, &Answer::Picture { width: picture.width(), height: picture.height() })?;
                    to.write_all(picture.as_raw())?;
                }
                Err(error) => refuse(&mut to, error)?,
            }
        } else {
            match apart::plane(&path, ask.orientation, ask.quarter_turns) {
                Ok(read) => {
                    write_frame(&mut to, &Answer::Plane(Form::of(&read)))?;
                    to.write_all(bytemuck::cast_slice(&read.plane.data))?;
                }
                Err(error) => refuse(&mut to, error)?,
            }
        }
        to.flush()?;
        watch.end();
    }
}

fn refuse(to: &mut impl Write, error: IntakeError) -> io::Result<()> {
    write_frame(to, &Answer::Failed { kind: error.kind, problem: error.problem, advice: error.advice })
}

/// Where answers go: standard output, which is then closed to everybody else, since decoders may print.
#[cfg(unix)]
fn answers() -> io::Result<impl Write> {
    use std::os::fd::{AsFd as _, AsRawFd as _};
    let answers = std::fs::File::from(io::stdout().as_fd().try_clone_to_owned()?);
    let nowhere = std::fs::File::options().write(true).open("/dev/null")?;
    // SAFETY: both descriptors are open; standard output becomes another name of /dev/null.
    unsafe { libc::dup2(nowhere.as_raw_fd(), libc::STDOUT_FILENO) };
    Ok(BufWriter::new(answers))
}

#[cfg(not(unix))]
fn answers() -> io::Result<impl Write> {
    Ok(BufWriter::new(io::stdout().lock()))
}
