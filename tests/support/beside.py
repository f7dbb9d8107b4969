"""Builds every test program and runs them beside each other; tests/run calls it when given no arguments.

`cargo test` runs one program after the other, and most of ours keep one processor busy or wait. Here those that
compute stand back (by `nice`) behind those that start services and brokers and have limits of time to keep, so
that neither a processor idles nor a limit is missed for want of one. What a program says is kept and shown whole
when it fails. All run, whatever fails; the end tells what failed, and the status is that of the worst.
"""
import json
import os
import pathlib
import re
import signal
import subprocess
import sys
import tempfile
import time

TOP = pathlib.Path(__file__).resolve().parents[2]
CARGO = ["cargo", "test", "--locked"]
if os.environ.get("CI"):
    # Takes half as long again to build, and the simulated years then run in half the time, the arbitrary sequences in
    # a third. Who builds after every change is better off without it.
    CARGO += ["--config", "profile.dev.package.permeated.opt-level=2"]
# The longest first, for what begins last should not be what all wait for. A program that is missing here runs
# after these, as one that computes.
COMPUTING = ["properties", "years", "scenarios", "doubts", "demo_past", "fillings", "lib", "report", "notices", "bytes"]
WAITING = [
    "service", "faults", "page", "security", "capture", "broker", "listen", "commands", "package", "notify",
    "demo_broker",
]
STANDS_BACK = 10


class Program:
    """A test program, and how it fared once it has run."""

    def __init__(self, name, command):
        self.name, self.command = name, command
        self.waits = name in WAITING

    def rank(self):
        order = WAITING if self.waits else COMPUTING
        return order.index(self.name) if self.name in order else len(order)

    def start(self):
        self.output = tempfile.TemporaryFile()
        self.began = time.monotonic()
        environment = {**os.environ}
        if self.command[0] != "cargo":
            # As cargo sets it; cargo itself would take it for a change, and build again.
            environment["CARGO_MANIFEST_DIR"] = str(TOP)
        self.process = subprocess.Popen(
            self.command, cwd=TOP, env=environment, stdin=subprocess.DEVNULL, stdout=self.output,
            stderr=subprocess.STDOUT, preexec_fn=self.set_apart,
        )
        return self.process.pid

    def set_apart(self):
        # A group of its own can be ended with all that it started.
        os.setpgrp()
        if not self.waits:
            os.nice(STANDS_BACK)

    def end(self, how=signal.SIGKILL):
        try:
            os.killpg(self.process.pid, how)
        except ProcessLookupError:
            pass

    def ended(self, status, usage):
        self.process.returncode = os.waitstatus_to_exitcode(status)
        self.seconds = time.monotonic() - self.began
        self.processor = usage.ru_utime + usage.ru_stime
        self.end()  # what it left behind
        self.output.seek(0)
        self.said = self.output.read().decode(errors="replace")
        self.output.close()
        told = re.findall(r"^test result: ok\. (\d+) passed", self.said, re.MULTILINE)
        self.passed = sum(map(int, told))
        # One that ends before it has told its result has not been run.
        self.failed = self.process.returncode != 0 or not told

    def tell(self):
        word = "FAILED" if self.failed else "ok"
        print(f"{word:6} {self.seconds:6.1f} s, {self.processor:6.1f} s of a processor  {self.name}", flush=True)
        if not self.failed:
            print(*re.findall(r"^test result:.*$", self.said, re.MULTILINE), sep="\n", flush=True)
        if self.failed:
            print(f"{self.said}\n{self.name}: ended with {self.process.returncode}", flush=True)


def built():
    """Builds all; the programs in the order in which they should begin."""
    command = [*CARGO, "--no-run", "--message-format=json-render-diagnostics"]
    result = subprocess.run(command, cwd=TOP, stdout=subprocess.PIPE, text=True)
    if result.returncode:
        sys.exit(result.returncode)
    messages = [json.loads(line) for line in result.stdout.splitlines() if line.startswith("{")]
    programs = []
    for message in messages:
        if message["reason"] == "compiler-artifact" and message["profile"]["test"] and message["executable"]:
            kind = message["target"]["kind"][0]
            name = kind if kind in ("lib", "bin") else message["target"]["name"]
            programs.append(Program(name, [message["executable"]]))
    if not programs:
        sys.exit("tests/run: cargo has built no tests")
    programs.append(Program("documentation of the API", [*CARGO, "--doc"]))
    return sorted(programs, key=Program.rank)


def next_of(programs, running, cores):
    """What may begin now, or nothing: as many that compute as there are cores, and half as many that wait, or
    more of either when nothing of the other is left."""
    waiting = [program for program in programs if program.waits]
    computing = [program for program in programs if not program.waits]
    waits = sum(program.waits for program in running.values())
    if waiting and waits < max(1, cores // 2):
        return waiting[0]
    if computing and len(running) - waits < cores:
        return computing[0]
    if waiting and len(running) < cores:
        return waiting[0]
    return None


def run(programs):
    cores = len(os.sched_getaffinity(0))
    running = {}
    try:
        while programs or running:
            while program := next_of(programs, running, cores):
                programs.remove(program)
                running[program.start()] = program
            pid, status, usage = os.wait4(-1, 0)
            if pid in running:
                program = running.pop(pid)
                program.ended(status, usage)
                program.tell()
                yield program
    finally:
        for program in running.values():
            program.end()


def main():
    # Whoever ends this program ends all that it started.
    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda number, _: sys.exit(128 + number))
    began = time.monotonic()
    programs = built()
    print(f"built in {time.monotonic() - began:.0f} s", flush=True)
    began = time.monotonic()
    done = list(run(programs))
    failed = [program.name for program in done if program.failed]
    print(
        f"{sum(program.passed for program in done)} tests in {len(done)} programs, {time.monotonic() - began:.0f} s, "
        f"{sum(program.processor for program in done):.0f} s of a processor"
    )
    if failed:
        sys.exit(f"tests/run: FAILED: {', '.join(failed)}")


if __name__ == "__main__":
    try:
        main()
    except KeyboardInterrupt:
        sys.exit(128 + signal.SIGINT)
