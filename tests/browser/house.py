"""The real program on a data folder of its own: two server processes, one cluster, one movable clock."""

import os
import pathlib
import selectors
import shutil
import signal
import subprocess
import tempfile
import time

LIMIT_S = 90

# The clock of a practice salon: an offset that only the owner can write (tests/it/support/salon.rs has the same).
PRACTICE_CLOCK = """
    create table practice_clock (ahead interval not null);
    insert into practice_clock values ('0');
    create or replace function rinsebell_now() returns timestamptz language sql volatile security definer
      set search_path = pg_catalog, public
      as 'select clock_timestamp() + (select ahead from public.practice_clock)';
"""


def wait_for(what, state, limit_s=LIMIT_S, pause_s=0.05):
    """Asks `state` again until it gives something; fails with `what` when it never does."""
    until = time.monotonic() + limit_s
    while True:
        found = state()
        if found:
            return found
        assert time.monotonic() < until, f"{what}: not within {limit_s} s"
        time.sleep(pause_s)


def time_itself(seconds):
    """For what only real time brings: a silence, a stall, a fact that is told late."""
    time.sleep(seconds)


class Server:
    """One `serve` process."""

    def __init__(self, program, data, port=0, more=()):
        self.began = time.monotonic()
        self.process = subprocess.Popen(
            [program, "serve", "--practice", "--listen", f"127.0.0.1:{port}", "--data", str(data), *more],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd="/",
            env={"PATH": os.environ.get("PATH", "/usr/bin:/bin")},
        )
        waiting = selectors.DefaultSelector()
        waiting.register(self.process.stdout, selectors.EVENT_READ)
        if not waiting.select(LIMIT_S):
            self.process.kill()
            raise AssertionError(f"no line within {LIMIT_S} s: {self.process.stderr.read()!r}")
        self.line = self.process.stdout.readline().decode()
        self.start_s = time.monotonic() - self.began
        if "http" not in self.line:
            raise AssertionError(f"it printed {self.line!r}: {self.process.stderr.read().decode()}")
        self.origin = next(word for word in self.line.split() if word.startswith("http")).rstrip("/.,")
        self.port = int(self.origin.rsplit(":", 1)[1])

    def hold(self):
        """Nothing answers any more, and nothing is lost: as a network that is cut."""
        self.process.send_signal(signal.SIGSTOP)

    def go_on(self):
        self.process.send_signal(signal.SIGCONT)

    def kill(self):
        self.process.kill()
        self.process.wait(LIMIT_S)

    def ask_to_stop(self):
        self.process.send_signal(signal.SIGCONT)
        self.process.send_signal(signal.SIGTERM)

    def ended(self, limit_s):
        code = self.process.wait(limit_s)
        said = self.process.stderr.read().decode()
        self.process.stdout.close()
        self.process.stderr.close()
        return code, said


class House:
    """A data folder, its servers, the owner's hand on the clock."""

    def __init__(self, program, demo=False, invented=()):
        self.program = program
        self.root = pathlib.Path(tempfile.mkdtemp(prefix="rb-", dir="/tmp"))
        self.root.chmod(0o755)  # as root the cluster runs as another user, who passes through
        self.data = self.root / "data"
        self.more = () if demo else ("--no-demo",)
        if invented:
            done = subprocess.run([program, "invent", *invented, "--data", str(self.data)], cwd="/", capture_output=True, text=True, timeout=2 * LIMIT_S,
                                  check=False, env={"PATH": os.environ.get("PATH", "/usr/bin:/bin")})
            assert done.returncode == 0, done.stderr
        self.servers = [self._serve()]
        self.servers.append(self._serve())

    def _serve(self, port=0):
        return Server(self.program, self.data, port, self.more)

    def restart(self, n):
        """A server that was killed comes back on its port."""
        self.servers[n] = self._serve(self.servers[n].port)

    def sql(self, text):
        """What the owner of the database asks or does."""
        secret = (self.data / "secrets" / "rinsebell_owner").read_text().strip()
        done = subprocess.run(
            ["psql", "-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", "-h", str(self.data / "sock"),
             "-U", "rinsebell_owner", "-d", "rinsebell", "-c", text],
            env={**os.environ, "PGPASSWORD": secret}, capture_output=True, text=True, timeout=LIMIT_S, check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def take_the_clock(self):
        self.sql(PRACTICE_CLOCK)

    def later(self, **by):
        """Moves the salon's clock ahead: `later(hours=48)`."""
        amount = " ".join(f"{n} {unit}" for unit, n in by.items())
        self.sql(f"update practice_clock set ahead = ahead + interval '{amount}'")

    def left_over(self):
        """Processes that still name the data folder."""
        left = []
        for entry in pathlib.Path("/proc").iterdir():
            if entry.name.isdigit():
                try:
                    line = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
                except OSError:
                    continue
                if str(self.data) in line:
                    left.append(f"{entry.name} {line}")
        return left

    def close(self):
        """Soft stop of both servers, in under 10 s with open streams; then nothing may be left."""
        for server in self.servers:
            server.ask_to_stop()
        try:
            for server in self.servers:
                code, said = server.ended(10)
                assert code == 0, said
            wait_for("nothing is left running", lambda: not self.left_over(), 20)
        finally:
            for server in self.servers:
                if server.process.poll() is None:
                    server.process.kill()
            shutil.rmtree(self.root, ignore_errors=True)
