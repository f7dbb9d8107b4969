"""Measures the service beside what its owner might write instead, and prints a report. Asserts nothing.

tests/bench/run builds and installs what this needs, and calls it. Every figure is a median of several runs
with the least and the most; the programs take turns, so that whatever else the machine does meets all alike.
CPU is time that the process was on a processor (`schedstat`), memory is what is resident (`VmRSS`).
"""
import argparse
import json
import os
import pathlib
import platform
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time

import configurations

HERE = pathlib.Path(__file__).parent
INPUTS = [f"in=bench/in/{name},{middle},{width}" for name, middle, width in configurations.FIVE]


class Broker:
    """A private Mosquitto on the loopback that drops nothing: a slow consumer is measured, not spared."""

    def __init__(self, folder):
        self.port = configurations.free_port()
        file = pathlib.Path(folder, f"broker-{self.port}.conf")
        file.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n"
            "persistence false\nlog_type error\nset_tcp_nodelay true\n"
        )
        self.process = launch(["mosquitto", "-c", str(file)])
        until(lambda: can_connect(self.port), "the broker does not listen")

    def end(self):
        end(self.process)


def can_connect(port):
    try:
        socket.create_connection(("127.0.0.1", port), 0.2).close()
        return True
    except OSError:
        return False


def until(is_so, otherwise, seconds=60.0):
    limit = time.monotonic() + seconds
    while not is_so():
        if time.monotonic() > limit:
            sys.exit(f"bench: {otherwise}")
        time.sleep(0.01)


LAUNCHED = []


def launch(command, **options):
    """Starts a program; whatever becomes of the measuring, it does not outlive it."""
    process = subprocess.Popen(command, **options)
    LAUNCHED.append(process)
    return process


def end_all():
    for process in LAUNCHED:
        if process.poll() is None:
            process.kill()
            process.wait()


def end(process):
    process.send_signal(signal.SIGTERM)
    process.wait()


def load(broker, mode, *arguments, **options):
    """Runs the load tool and gives its report."""
    command = [ASKED.load, mode, f"broker=127.0.0.1:{broker.port}", *arguments]
    command += [f"{key}={value}" for key, value in options.items()]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        sys.exit(f"bench: {' '.join(command)}\n{done.stderr}")
    return json.loads(done.stdout)


class Program:
    """Something that hears the five inputs. One that answers each with three figures has `fanout` 3; the
    service has 0, for it tells what changed once in an interval."""

    def __init__(self, name, command, fanout, qos):
        self.name, self.command, self.fanout, self.qos = name, command, fanout, qos
        self.out = "bench/out/#" if fanout else "permeated/bench/#"

    def start(self, broker, **options):
        log = open(pathlib.Path(ASKED.folder, "programs.log"), "a")
        return launch(self.command(broker, **options), stdout=log, stderr=log)


def service(broker, configuration=configurations.five, name="five", **options):
    folder = pathlib.Path(ASKED.folder, name)
    folder.mkdir(exist_ok=True)
    file = folder / "permeated.toml"
    file.write_text(configuration(broker.port, folder, **options))
    return [ASKED.service, "run", "--config", str(file)]


def programs():
    paho = [sys.executable, str(HERE / "baseline/bridge.py")]
    mqttjs = ["node", str(HERE / "baseline/bridge.js")]
    found = [Program("permeated", service, 0, 0), Program("permeated, QoS 1", service, 0, 1)]
    for qos in (0, 1):
        told = "" if qos == 0 else ", QoS 1"
        for name, command in [("Rust, naive", [ASKED.bridge]), ("Python, paho", paho), ("Node, mqtt.js", mqttjs)]:
            if shutil.which(command[0]):
                at = lambda broker, command=command, qos=qos: [*command, "127.0.0.1", str(broker.port), str(qos)]
                found.append(Program(name + told, at, 3, qos))
    return [program for program in found if program.qos == 0 or not ASKED.short]


def watch(process):
    return f"watch=own,{process.pid}"


def once(broker, program):
    """One run of one program: at rest, round trip, flat out."""
    process = program.start(broker)
    time.sleep(1.5)
    qos = program.qos
    n = 300 if ASKED.short else 1000
    rest = load(broker, "open", *INPUTS, watch(process), n=n, rate=100, qos=qos, out=program.out)
    flat = {"n": 30_000 if ASKED.short else 60_000, "window": 500, "qos": qos, "out": program.out}
    if program.fanout:
        trip = load(broker, "ping", *INPUTS, n=n, fanout=3, qos=qos, out=program.out)
        flat = load(broker, "closed", *INPUTS, watch(process), fanout=3, **flat)
    else:
        # What cannot be understood is refused at once, after all that came before it.
        flat["out"], mark = "permeated/bench/event", "mark=permeated/bench/do/bench"
        marked = [mark, "containing=command_refused", "every=100"]
        flat = load(broker, "marked", *INPUTS, *marked, watch(process), **flat)
    end(process)
    if not program.fanout:
        # Every change is told at once, as the others do: a reading to the document it changes.
        process = program.start(broker, name="at_once", interval="0 s")
        # Nothing is told in the first seconds after a start.
        time.sleep(6.0)
        trip = load(broker, "ping", *INPUTS, n=n, qos=qos, out="permeated/bench/now")
        end(process)
    return {
        "rest": rest["own_us"],
        "flat": flat["own_us"],
        "a_second": flat["a_second"],
        "p50": trip.get("trip_p50"),
        "p99": trip.get("trip_p99"),
        "memory": flat["own_kib"] / 1024,
        "peak": flat["own_peak_kib"] / 1024,
        "start": start(broker, program),
    }


def start(broker, program):
    """Seconds from the start of a program to the first word that it says."""
    topic = program.out if program.fanout else "permeated/status"
    heard = launch(
        ["mosquitto_sub", "-h", "127.0.0.1", "-p", str(broker.port), "-R", "-t", topic, "-C", "1"],
        stdout=subprocess.DEVNULL,
    )
    time.sleep(0.3)
    began = time.monotonic()
    process = program.start(broker)
    if program.fanout:
        feed = [ASKED.load, "open", f"broker=127.0.0.1:{broker.port}", *INPUTS, "n=1000", "rate=200"]
        feed = launch(feed, stdout=subprocess.DEVNULL)
    try:
        heard.wait(30)
    except subprocess.TimeoutExpired:
        sys.exit(f"bench: {program.name} said nothing:\n{pathlib.Path(ASKED.folder, 'programs.log').read_text()[-2000:]}")
    took = time.monotonic() - began
    if program.fanout:
        feed.kill()
        feed.wait()
    end(process)
    return took


def at_rest(broker, found):
    """All at once, each hearing nothing: the share of a processor, %, and memory, MiB."""
    seconds = 40 if ASKED.short else 180
    running = [(program, program.start(broker)) for program in found if program.qos == 0]
    time.sleep(8)
    watched = [f"watch={number},{process.pid}" for number, (_, process) in enumerate(running)]
    told = load(broker, "idle", *watched, seconds=seconds)
    for _, process in running:
        end(process)
    numbers = enumerate(running)
    return seconds, {
        program.name: (told[f"{number}_percent"], told[f"{number}_kib"] / 1024) for number, (program, _) in numbers
    }


class Written:
    """Two services with twelve sensors once a second each, one that makes water and one that stands: what they
    write to disk. They go on beside everything else."""

    def __init__(self):
        self.broker = Broker(ASKED.folder)
        self.running, self.feeds = {}, []
        for name, inputs in (("making", configurations.TWELVE), ("standing", configurations.STANDING)):
            command = service(self.broker, configurations.twelve, name)
            self.running[name] = launch(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            feed = [ASKED.load, "open", f"broker=127.0.0.1:{self.broker.port}", "n=10000000", "rate=12"]
            feed += [f"in=bench/{name}/{topic},{middle},{width}" for topic, middle, width in inputs]
            self.feeds.append(launch(feed, stdout=subprocess.DEVNULL))
        self.since = None

    def begin(self):
        """What a start writes is no part of a day."""
        self.since = time.monotonic()
        self.before = {name: self.bytes(name) for name in self.running}

    def bytes(self, name):
        text = pathlib.Path(f"/proc/{self.running[name].pid}/io").read_text()
        return int(text.split("write_bytes:")[1].split()[0])

    def end(self):
        least = 240 if ASKED.short else 1300
        time.sleep(max(0.0, least - (time.monotonic() - self.since)))
        seconds = time.monotonic() - self.since
        days = {name: (self.bytes(name) - self.before[name]) / seconds * 86_400 for name in self.running}
        memory = {name: resident(process.pid) for name, process in self.running.items()}
        self.stop()
        return seconds, days, memory

    def stop(self):
        for process in [*self.running.values(), *self.feeds]:
            process.kill()
            process.wait()
        self.broker.end()


def resident(pid):
    text = pathlib.Path(f"/proc/{pid}/status").read_text()
    return int(text.split("VmRSS:")[1].split()[0]) / 1024


def cpu_seconds(pid):
    threads = pathlib.Path(f"/proc/{pid}/task").iterdir()
    return sum(int((thread / "schedstat").read_text().split()[0]) for thread in threads) / 1e9


def many(broker, units):
    """A service with so many units of five sensors: start, memory and CPU, idle and at 100 messages/s."""
    folder = pathlib.Path(ASKED.folder, f"units-{units}")
    folder.mkdir(exist_ok=True)
    file = folder / "permeated.toml"
    file.write_text(configurations.many(broker.port, folder, units))
    out = open(folder / "log", "w")
    began = time.monotonic()
    process = launch([ASKED.service, "run", "--config", str(file)], stdout=out, stderr=out)
    log = folder / "log"
    until(lambda: "connected to the broker" in log.read_text() or process.poll() is not None, "no connection", 300)
    if process.poll() is not None:
        return {"failed": log.read_text().strip()[-300:]}
    took = time.monotonic() - began
    time.sleep(10)
    seconds = 20 if ASKED.short else 130
    idle, before = resident(process.pid), cpu_seconds(process.pid)
    time.sleep(seconds)
    idle_percent = (cpu_seconds(process.pid) - before) / seconds * 100
    inputs = [f"in=bench/in/{{unit}}/{name},{middle},{width}" for name, middle, width in configurations.FIVE]
    n = 5 * units if units > 100 else 500
    told = load(broker, "open", *inputs, watch(process), units=units, n=n, rate=max(100, n / 15), out="none")
    end(process)
    return {
        "start": took,
        "memory": idle,
        "idle": idle_percent,
        "heard": told["own_kib"] / 1024,
        "us": told["own_us"],
        "rate": max(100, n / 15),
    }


def median(rows, key):
    found = [row[key] for row in rows if row[key] is not None]
    return (statistics.median(found), min(found), max(found)) if found else None


def shown(found, digits):
    if found is None:
        return "–"
    middle, least, most = (f"{number:,.{digits}f}" for number in found)
    return f"{middle} ({least}–{most})"


# What is shown of a program: its key, its head, decimals.
COLUMNS = [
    ("rest", "CPU µs/message at 100/s", 0),
    ("flat", "flat out", 1),
    ("a_second", "messages/s", 0),
    ("p50", "round trip µs p50", 0),
    ("p99", "p99", 0),
    ("memory", "MiB", 1),
    ("start", "start s", 3),
]


def table(head, rows):
    say("| " + " | ".join(head) + " |")
    say("|" + " --- |" * len(head))
    for row in rows:
        say("| " + " | ".join(row) + " |")
    say("")


def say(text):
    print(text, flush=True)


def tell_conditions():
    model = [line for line in pathlib.Path("/proc/cpuinfo").read_text().splitlines() if line.startswith("model name")]
    version = subprocess.run(["mosquitto", "-h"], capture_output=True, text=True).stdout.splitlines()[0]
    say(f"# permeated, measured {time.strftime('%Y-%m-%d %H:%M UTC', time.gmtime())}\n")
    say(f"{os.cpu_count()} × {model[0].split(':')[1].strip() if model else platform.machine()}, "
        f"{platform.system()} {platform.release()}, {version}; load average before: {os.getloadavg()[0]:.1f}. "
        f"{ASKED.runs} runs: median (least–most).\n")


def tell_sizes():
    rows = [("with the demonstration's broker", ASKED.service), ("as packaged, without it", ASKED.packaged)]
    rows = [(name, file) for name, file in rows if file and pathlib.Path(file).exists()]
    table(["binary, stripped", "MB"], [[name, f"{pathlib.Path(file).stat().st_size / 1e6:.1f}"] for name, file in rows])


def tell_core():
    say("The core alone, and `replay` (wall time, the best of three rounds):\n")
    say("```")
    say(subprocess.run([ASKED.speed, "3"], capture_output=True, text=True).stdout.strip())
    say("```\n")


def tell_compared(found):
    broker = Broker(ASKED.folder)
    rows = {program.name: [] for program in found}
    for _ in range(ASKED.runs):
        for program in found:
            rows[program.name].append(once(broker, program))
    seconds, rest = at_rest(broker, found)
    broker.end()
    head = ["", *(title for _, title, _ in COLUMNS), "idle CPU %", "MiB at rest"]
    body = []
    for name, runs in rows.items():
        idle = rest.get(name)
        told = [f"{idle[0]:.3f}", f"{idle[1]:.1f}"] if idle else ["–", "–"]
        body.append([name, *(shown(median(runs, key), digits) for key, _, digits in COLUMNS), *told])
    say(f"Five inputs in turn; idle over {seconds} s. The others parse, keep last values and publish three figures a "
        "message; the service judges, keeps and tells what changed, and its round trip is from a reading to the "
        "document it changes, told at once. Its start is to `online`, for states wait for the first readings.\n")
    table(head, body)
    own = {0: rows["permeated"], 1: rows.get("permeated, QoS 1")}
    ratios = []
    for program in found[1:]:
        if program.fanout:
            pairs = [(median(own[program.qos], key), median(rows[program.name], key)) for key, _, _ in COLUMNS]
            told = [f"{a[0] / b[0]:.2f}" if a and b and b[0] else "–" for a, b in pairs]
            ratios.append([f"permeated ÷ {program.name}", *told])
    table(["", *(title for _, title, _ in COLUMNS)], ratios)


def tell_written(written):
    seconds, days, memory = written.end()
    making, standing = (days[name] / 2**20 for name in ("making", "standing"))
    usual = making * 2 / 24 + standing * 22 / 24
    say(f"Twelve sensors once a second, page and metrics on, measured over {seconds:.0f} s (`write_bytes`) and "
        "extrapolated" + (":\n" if seconds >= 3600 else "; too short to go by: the start and what waits ten minutes "
                          "weigh heavily on it:\n"))
    table(["", "MiB a day", "MiB resident"], [
        ["makes water without pause", f"{making:.1f}", f"{memory['making']:.1f}"],
        ["stands", f"{standing:.1f}", f"{memory['standing']:.1f}"],
        ["makes water for 2 of 24 hours", f"{usual:.1f}", ""],
    ])


def tell_many():
    broker = Broker(ASKED.folder)
    rows, before = [], None
    for units in [int(number) for number in ASKED.units.split(",")]:
        told = many(broker, units)
        if "failed" in told:
            rows.append([f"{units:,}", told["failed"]] + [""] * 6)
            continue
        more = (told["memory"] - before[1]) * 1024 / (units - before[0]) if before else None
        rows.append([
            f"{units:,}", f"{told['start']:.2f}", f"{told['memory']:.1f}", f"{more:.1f}" if more else "–",
            f"{told['heard']:.1f}", f"{told['idle']:.2f}", f"{told['us']:.0f}", f"{told['rate']:,.0f}",
        ])
        before = before or (units, told["memory"])
    broker.end()
    say("Units of five sensors in one process, no discovery:\n")
    table(["units", "start s", "MiB idle", "KiB a further unit", "MiB when all were heard", "idle CPU %",
           "CPU µs/message", "at messages/s"], rows)


def main():
    parts = [part for part in ASKED.parts.split(",") if part]
    found = programs()
    tell_conditions()
    written = Written() if "written" in parts else None
    if "size" in parts:
        tell_sizes()
    if "core" in parts:
        tell_core()
    if written:
        threading.Event().wait(0 if "core" in parts else 10)
        written.begin()
    if "compared" in parts:
        tell_compared(found)
    if "units" in parts:
        tell_many()
    if written:
        tell_written(written)


parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
parser.add_argument("--short", action="store_true", help="about eight minutes: fewer and shorter runs, QoS 0 only")
parser.add_argument("--runs", type=int, help="of each program (5; 3 with --short)")
parser.add_argument("--parts", default="size,core,compared,units,written", help="which of %(default)s")
parser.add_argument("--units", default="1,100,1000,10000", help="how many units in one process (%(default)s)")
for name in ("service", "packaged", "load", "bridge", "speed"):
    parser.add_argument(f"--{name}", help=argparse.SUPPRESS)
ASKED = parser.parse_args()
ASKED.runs = ASKED.runs or (3 if ASKED.short else 5)
signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
with tempfile.TemporaryDirectory(prefix="bench-", dir="target") as folder:
    ASKED.folder = folder
    try:
        main()
    finally:
        end_all()
