//! Worker: decoding in child processes, so that a decoder's abort, hang or greed costs one frame.
//!
//! A worker is the program itself, run with a hidden subcommand that calls [`serve`]. It answers requests one
//! after another over its standard input and output. Workers are kept between requests. Without [`use_workers`] (as in a program
//! that only links the library) decoding happens in the process itself, where only panics are survived.

use std::io::{self, BufReader, BufWriter, Read as _, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use super::beside::{least_memory, memory_needed};
use super::decode::Input;
use super::limits::{OVER_TIME, Watch, limit_memory};
use super::luminance::Read as RawRead;
use super::messages::{Answer, Ask, Form, bounded, read_frame, write_frame};
use super::{IntakeError, IntakeErrorKind, guard};
use image::RgbImage;

/// How workers are run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Workers {
    /// The program, which must be able to act as a worker.
    pub program: PathBuf,
    /// Its arguments, up to the two that give the limits.
    pub arguments: Vec<String>,
    /// Memory that the frames in flight may take together, bytes; a worker gets its frame's share.
    pub memory: u64,
    /// Frames in flight at once.
    pub side_by_side: usize,
    /// Longest a file may take.
    pub time: Duration,
}

impl Workers {
    /// Memory enough for a 150-megapixel back.
    pub const MEMORY: u64 = 3 << 30;
    /// Time enough for a slow disk.
    pub const TIME: Duration = Duration::from_secs(120);

    /// Bytes that a worker may take for one file: its share, or what the file honestly needs, within what there is.
    fn share(&self, path: &Path) -> u64 {
        let honest = memory_needed(path).saturating_mul(5) / 4 + SLACK;
        let most = self.memory.saturating_mul(6) / 5 + SLACK;
        (self.memory / self.side_by_side.max(1) as u64).max(honest).min(most)
    }
}

/// What a worker needs whatever the file, bytes: its own tables and the decoders' buffers.
const SLACK: u64 = 48 << 20;

/// Refuses a file that by its own account needs more memory than there is.
pub(super) fn affordable(path: &Path) -> Result<(), IntakeError> {
    let setting = POOL.lock().unwrap_or_else(PoisonError::into_inner).setting.clone();
    let Some(memory) = setting.map(|s| s.memory) else { return Ok(()) };
    let least = least_memory(path)?;
    if least <= memory.saturating_mul(6) / 5 {
        return Ok(());
    }
    let mb = |bytes: u64| bytes.div_ceil(1_000_000);
    let problem = format!("it needs {} MB of memory, and {} MB are allowed", mb(least), mb(memory));
    let advice = "Allow more with --memory, or audit a smaller export of it; if it isn't that large, copy it again.";
    Err(IntakeError::new(path, IntakeErrorKind::TooMuch, problem, advice))
}

/// The setting and the workers that wait for work.
static POOL: Mutex<Pool> = Mutex::new(Pool { setting: None, idle: Vec::new() });

struct Pool {
    setting: Option<Arc<Workers>>,
    idle: Vec<Worker>,
}

/// Decodes in child processes from now on whatever may break down or swell; in this process if `None`.
pub fn use_workers(setting: Option<Workers>) {
    let mut pool = POOL.lock().unwrap_or_else(PoisonError::into_inner);
    pool.setting = setting.map(Arc::new);
    pool.idle.clear();
}

/// Luminance, upright, decoded by a worker if there are any.
pub(super) fn plane(
    input: Input,
    path: &Path,
    orientation: Option<u16>,
    quarter_turns: u8,
) -> Result<RawRead, IntakeError> {
    match asked(path, orientation, quarter_turns, false)? {
        None => input.plane(orientation, quarter_turns, path),
        Some((Answer::Plane(form), Pixels::Levels(data))) => Ok(form.with(data)),
        Some(_) => Err(strange(path)),
    }
}

/// A picture to look at, upright, decoded by a worker if there are any.
pub(super) fn colour(
    input: Input,
    path: &Path,
    orientation: Option<u16>,
    quarter_turns: u8,
) -> Result<RgbImage, IntakeError> {
    match asked(path, orientation, quarter_turns, true)? {
        None => input.colour(orientation, quarter_turns, path),
        Some((Answer::Picture { width, height }, Pixels::Colours(bytes))) => {
            RgbImage::from_raw(width, height, bytes).ok_or_else(|| strange(path))
        }
        Some(_) => Err(strange(path)),
    }
}

fn strange(path: &Path) -> IntakeError {
    IntakeError::damaged(path, "the picture in it can't be decoded").with_detail("the worker's answer makes no sense")
}

enum Pixels {
    None,
    Levels(Vec<u16>),
    Colours(Vec<u8>),
}

/// Asks a worker; `None` where decoding is to happen in this process.
fn asked(
    path: &Path,
    orientation: Option<u16>,
    quarter_turns: u8,
    look: bool,
) -> Result<Option<(Answer, Pixels)>, IntakeError> {
    let (setting, mut idle) = {
        let mut pool = POOL.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(setting) = pool.setting.clone() else { return Ok(None) };
        (setting, pool.idle.pop())
    };
    let ask = Ask { path: path.into(), orientation, quarter_turns, look, memory: setting.share(path) };
    // A worker that died while waiting (killed from outside) is replaced; one that dies at work has failed.
    let mut worker = loop {
        let mut worker = match idle.take().map_or_else(|| Worker::start(&setting), Ok) {
            Ok(worker) => worker,
            // Where no process can be started, decoding in this one is better than none.
            Err(_) => return Ok(None),
        };
        if worker.send(&ask).is_ok() && !worker.has_ended() {
            break worker;
        }
        if worker.fresh {
            return Ok(None);
        }
    };
    match worker.receive() {
        Ok((Answer::Failed { kind, problem, advice, detail }, _)) => {
            worker.put_back(&setting);
            let error = IntakeError::new(path, kind, problem, advice);
            Err(if let Some(detail) = detail { error.with_detail(detail) } else { error })
        }
        Ok(answer) => {
            worker.put_back(&setting);
            Ok(Some(answer))
        }
        Err(e) if e.kind() == io::ErrorKind::OutOfMemory => {
            Err(IntakeError::too_much(path, "there is not enough memory for it"))
        }
        Err(_) => Err(worker.verdict(path, &setting, ask.memory)),
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
        let mut command = Command::new(&setting.program);
        // An interrupt from the keyboard is for the program itself, which lets the frames in hand finish.
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        let mut child = command
            .args(&setting.arguments)
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
                let mut data = room::<u16>(bounded(form.size.0, form.size.1)?)?;
                self.from.read_exact(bytemuck::cast_slice_mut(&mut data))?;
                Pixels::Levels(data)
            }
            Answer::Picture { width, height } => {
                let mut bytes = room::<u8>(bounded(*width as usize, *height as usize)? * 3)?;
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
    fn verdict(mut self, path: &Path, setting: &Workers, memory: u64) -> IntakeError {
        match self.child.wait() {
            Ok(status) if status.code() == Some(OVER_TIME) => {
                let seconds = setting.time.as_secs_f64();
                IntakeError::too_much(path, format!("reading it took longer than {seconds:.0} s and was stopped"))
            }
            Ok(status) if aborted(status) => {
                let mb = memory / 1_000_000;
                IntakeError::new(
                    path,
                    IntakeErrorKind::TooMuch,
                    format!("reading it broke down, most likely for want of more than {mb} MB of memory"),
                    "It may be damaged: copy it again from the card. If it is sound, allow more with --memory.",
                )
            }
            status => IntakeError::damaged(path, "the picture in it can't be decoded")
                .with_detail(format!("the decoder ended the worker: {status:?}")),
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

/// Memory for an answer's pixels, where there is any.
fn room<T: Clone + Default>(count: usize) -> io::Result<Vec<T>> {
    let mut memory = Vec::new();
    memory.try_reserve_exact(count).map_err(|_| io::ErrorKind::OutOfMemory)?;
    memory.resize(count, T::default());
    Ok(memory)
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
    // A refusal changes nothing.
    let _ = rustix::pipe::fcntl_setpipe_size(pipe, 1 << 20);
}

#[cfg(not(target_os = "linux"))]
const fn widen_pipe(_pipe: &ChildStdout) {}

/// Answers requests until the input ends: the work of a worker process.
///
/// The decoders' own chatter and panics go nowhere; memory is limited where the system allows it.
///
/// # Errors
/// Where the other side is gone.
pub fn serve(time: Duration) -> io::Result<()> {
    std::panic::set_hook(Box::new(|_| {}));
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
        limit_memory(ask.memory);
        let path = Path::new(&ask.path);
        let input = guarded(path, || Input::open(path));
        let (orientation, turns) = (ask.orientation, ask.quarter_turns);
        if ask.look {
            match input.and_then(|input| guarded(path, || input.colour(orientation, turns, path))) {
                Ok(picture) => {
                    write_frame(&mut to, &Answer::Picture { width: picture.width(), height: picture.height() })?;
                    to.write_all(picture.as_raw())?;
                }
                Err(error) => refuse(&mut to, error)?,
            }
        } else {
            match input.and_then(|input| guarded(path, || input.plane(orientation, turns, path))) {
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

/// A panic in what surrounds the decoders fails the file as well.
fn guarded<T>(path: &Path, work: impl FnOnce() -> Result<T, IntakeError>) -> Result<T, IntakeError> {
    guard::file(path, "reading it", work)
}

fn refuse(to: &mut impl Write, error: IntakeError) -> io::Result<()> {
    write_frame(
        to,
        &Answer::Failed { kind: error.kind, problem: error.problem, advice: error.advice, detail: error.detail },
    )
}

/// Where answers go: standard output, which is then closed to everybody else, since decoders may print.
#[cfg(unix)]
fn answers() -> io::Result<impl Write> {
    use std::os::fd::AsFd as _;
    let answers = std::fs::File::from(io::stdout().as_fd().try_clone_to_owned()?);
    let nowhere = std::fs::File::options().write(true).open("/dev/null")?;
    rustix::stdio::dup2_stdout(nowhere)?;
    Ok(BufWriter::new(answers))
}

#[cfg(not(unix))]
fn answers() -> io::Result<impl Write> {
    Ok(BufWriter::new(io::stdout().lock()))
}
