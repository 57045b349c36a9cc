//! The real program, started as a person or a system would, in folders that go with the test.

use rinsebell::cluster::{DataDir, postmaster, throwaway};
use rustix::process::{Pid, Signal, kill_process};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// The longest any state is waited for.
pub const LIMIT: Duration = Duration::from_secs(60);

/// Asks again until `state` gives something.
pub fn wait_for<T>(what: &str, mut state: impl FnMut() -> Option<T>) -> T {
    let until = Instant::now() + LIMIT;
    loop {
        if let Some(found) = state() {
            return found;
        }
        assert!(Instant::now() < until, "{what}: not within {LIMIT:?}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

pub fn is_root() -> bool {
    rustix::process::geteuid().is_root()
}

/// A folder for one test. Its cluster is stopped and it is removed when the test ends, however it ends.
pub struct Folder {
    root: PathBuf,
    watcher: Option<Child>,
}

impl Folder {
    pub fn new() -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let root = std::env::temp_dir().join(format!("rs-{}-{number}", std::process::id()));
        let _ = std::fs::remove_dir_all(&root);
        Self { watcher: throwaway::watch(&root), root }
    }

    pub fn path(&self) -> &Path {
        &self.root
    }

    pub fn data(&self) -> DataDir {
        DataDir::new(&self.root)
    }

    /// The process number of the running server.
    pub fn postmaster(&self) -> Option<i32> {
        postmaster(&self.data())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        if let Some(mut watcher) = self.watcher.take() {
            drop(watcher.stdin.take());
            let _ = watcher.wait();
        }
    }
}

/// A command for the program that sees nothing of the tests' environment.
pub fn rinsebell(args: &[&str]) -> Command {
    at(Path::new(env!("CARGO_BIN_EXE_rinsebell")), args)
}

/// The same for a copy of the program elsewhere.
pub fn at(program: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(program);
    command.args(args).env_clear().current_dir("/");
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// `serve` on any free port in this folder.
pub fn serve(folder: &Folder) -> Command {
    rinsebell(&["serve", "--no-demo", "--listen", "127.0.0.1:0", "--data", folder.path().to_str().unwrap()])
}

/// The program, serving.
pub struct Serving {
    child: Child,
    /// The one line it printed.
    pub line: String,
    /// How long it took to print it.
    pub took: Duration,
    rest: mpsc::Receiver<String>,
}

impl Serving {
    /// Starts it and waits for its line.
    pub fn start(mut command: Command) -> Self {
        let began = Instant::now();
        let mut child = command.spawn().unwrap();
        let lines = lines_of(child.stdout.take().unwrap());
        let faults = lines_of(child.stderr.take().unwrap());
        let line = lines.recv_timeout(LIMIT).unwrap_or_else(|_| {
            let _ = child.kill();
            panic!("it printed no line: {:?}", faults.iter().collect::<Vec<_>>())
        });
        Self { child, line, took: began.elapsed(), rest: lines }
    }

    /// The address it serves on, such as `127.0.0.1:7340`.
    pub fn address(&self) -> String {
        let origin = self.line.split_whitespace().nth(2).unwrap();
        origin.split("//").nth(1).unwrap().to_owned()
    }

    /// `GET path` over plain HTTP; status and body, or nothing when nobody answers.
    pub fn get(&self, path: &str) -> Option<(u16, String)> {
        get(&self.address(), path)
    }

    pub fn wait_ready(&self) {
        wait_for("ready", || self.get("/health/ready").filter(|(status, _)| *status == 200));
    }

    pub fn signal(&self, signal: Signal) {
        kill_process(pid(self.child.id() as i32), signal).unwrap();
    }

    /// Waits for its end; how it ended and how long that took.
    pub fn wait_end(mut self) -> (ExitStatus, Duration) {
        let began = Instant::now();
        let status = wait_for("the program's end", || self.child.try_wait().unwrap());
        assert_eq!(self.rest.iter().count(), 0, "it prints one line and no more");
        (status, began.elapsed())
    }

    /// Asks it to stop and waits for its end.
    pub fn stop(self) -> Duration {
        self.signal(Signal::TERM);
        let (status, took) = self.wait_end();
        assert!(status.success(), "{status}");
        took
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub fn pid(number: i32) -> Pid {
    Pid::from_raw(number).unwrap()
}

fn lines_of(source: impl Read + Send + 'static) -> mpsc::Receiver<String> {
    let (send, lines) = mpsc::channel();
    std::thread::spawn(move || {
        BufReader::new(source).lines().map_while(Result::ok).all(|line| send.send(line).is_ok())
    });
    lines
}

/// `GET path` over plain HTTP/1.1; status and body.
pub fn get(address: &str, path: &str) -> Option<(u16, String)> {
    let mut stream = TcpStream::connect(address).ok()?;
    stream.set_read_timeout(Some(Duration::from_secs(10))).ok()?;
    write!(stream, "GET {path} HTTP/1.1\r\nhost: {address}\r\nconnection: close\r\n\r\n").ok()?;
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).ok()?;
    let answer = String::from_utf8_lossy(&answer).into_owned();
    let status = answer.split_whitespace().nth(1)?.parse().ok()?;
    Some((status, answer.split_once("\r\n\r\n")?.1.to_owned()))
}

/// Runs a command to its end: exit code, what it printed, what it said on standard error.
pub fn outcome(mut command: Command) -> (i32, String, String) {
    let mut child = command.spawn().unwrap();
    let (out, err) = (lines_of(child.stdout.take().unwrap()), lines_of(child.stderr.take().unwrap()));
    let until = Instant::now() + LIMIT;
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        if Instant::now() > until {
            let _ = child.kill();
            panic!("it did not end: {:?}", err.try_iter().collect::<Vec<_>>());
        }
        std::thread::sleep(Duration::from_millis(10));
    };
    let joined = |lines: mpsc::Receiver<String>| lines.iter().collect::<Vec<_>>().join("\n");
    (status.code().unwrap_or(-1), joined(out), joined(err))
}

/// A start that must be refused with this code in one sentence; the sentence comes back.
pub fn refused(command: Command, code: i32) -> String {
    let (got, out, err) = outcome(command);
    assert_eq!((got, out.as_str()), (code, ""), "{err}");
    assert!(err.starts_with("rinsebell: ") && err.ends_with('.') && err.lines().count() == 1, "{err}");
    err
}

/// A home for an ordinary user: a folder of their own with a copy of the program in it.
pub struct Person {
    pub home: Folder,
    /// Whose rights are taken, when the tests run as root.
    uid: Option<u32>,
}

impl Person {
    pub fn new() -> Self {
        let home = Folder::new();
        std::fs::create_dir(home.path()).unwrap();
        let uid = is_root().then_some(65534);
        std::fs::copy(env!("CARGO_BIN_EXE_rinsebell"), home.path().join("rinsebell")).unwrap();
        std::os::unix::fs::chown(home.path(), uid, uid).unwrap();
        Self { home, uid }
    }

    /// The program as this person.
    pub fn rinsebell(&self, args: &[&str]) -> Command {
        let mut command = at(&self.home.path().join("rinsebell"), args);
        command.env("HOME", self.home.path());
        if let Some(uid) = self.uid {
            command.uid(uid).gid(uid);
        }
        command
    }
}
