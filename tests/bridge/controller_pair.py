"""The receiving rules twice behind one interface: in C, built here, and in Python."""

from __future__ import annotations

import atexit
import json
import os
import shlex
import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import pytest

from firmware_bridge.codes import TARGETS
from firmware_bridge.wire.messages import Ack, decode
from firmware_bridge.wire.receiver import LocalLimits, Receiver

SOURCES = Path(__file__).parents[2] / "examples" / "controller"
WARN = ["-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wshadow", "-Wstrict-prototypes"]
FLAGS = ["-std=c99", "-O2", "-Werror", *WARN]
SANITIZE = ["-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-fno-builtin"]
"""Without builtins every comparison of memory is a call, and its whole length is checked."""
LIMITS = {
    "door_most": 1000,
    "fan_least": 0,
    "ttl_most": 600,
    "beat_timeout": 60,
    "accept_every": 10,
}
"""Thousandths and seconds; those of ``LocalLimits``, as a test holds."""


GOOD = [1, 100, 1, 7, 1, 180, 3, 11, 0, 800, 300, 0, -1, -1, 669]
"""Advice that may be followed, as the integers of its form."""


def row(numbers):
    """Numbers as the bytes that travel."""
    return json.dumps(numbers, separators=(",", ":")).encode()


def compile_c(*arguments):
    """Run the compiler; whatever it says besides nothing is a failure."""
    compiler = shlex.split(os.environ.get("CC", "cc"))
    if shutil.which(compiler[0]) is None:
        pytest.fail(
            f"no C compiler '{compiler[0]}': install one (Debian: apt-get install gcc libc6-dev) "
            "or name it in CC",
            pytrace=False,
        )
    done = subprocess.run(
        [*compiler, *map(str, arguments)], capture_output=True, text=True, timeout=300
    )
    said = done.stdout + done.stderr
    if done.returncode or said:
        pytest.fail(f"the C compiler is not content:\n{said}", pytrace=False)


@cache
def console():
    """The program that runs the rules in C, with sanitizers; built once in a process."""
    folder = Path(tempfile.mkdtemp(prefix="controller-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    files = [SOURCES / name for name in ("console.c", "receiver.c", "wire.c")]
    compile_c(*FLAGS, *SANITIZE, *files, "-o", folder / "console")
    return folder / "console"


class InC:
    """The rules in C, run by their console; times in whole milliseconds."""

    def __init__(self):
        pipe = subprocess.PIPE
        self.process = subprocess.Popen([console()], stdin=pipe, stdout=pipe, stderr=pipe)

    def ask(self, line):
        try:
            self.process.stdin.write(line.encode() + b"\n")
            self.process.stdin.flush()
            answer = self.process.stdout.readline()
        except BrokenPipeError:
            answer = b""
        if not answer:
            error = self.process.stderr.read().decode(errors="replace")
            pytest.fail(f"the console ended at {line[:200]!r}:\n{error}", pytrace=False)
        return answer.decode().rstrip("\n")

    def close(self):
        self.process.stdin.close()
        said = self.process.stderr.read().decode(errors="replace")
        code = self.process.wait(timeout=10)
        self.process.stdout.close()
        self.process.stderr.close()
        return code, said

    def start(self, boot, limits):
        numbers = [boot, *(limits[name] for name in LIMITS)]
        good = self.ask("start " + " ".join(map(str, numbers))) == "1"
        self.remote(0, True)
        return good

    def reading(self, at, seq):
        assert self.ask(f"reading {seq} {at % 2**32}") == "ok"

    def beat(self, at, payload, retained=False):
        answer = self._take("beat", at, payload, retained)
        return answer != "passed over", answer == "taken, asks for the birth"

    def advice(self, at, payload, retained=False):
        return decode(self._take("advice", at, payload, retained).encode(), Ack)

    def _take(self, what, at, payload, retained):
        plain = all(32 <= byte < 127 for byte in payload) and not payload.startswith(b"hex:")
        text = payload.decode() if plain else "hex:" + payload.hex()
        return self.ask(f"{what} {int(retained)} {at % 2**32} {text}")

    def remote(self, at, on):
        assert self.ask(f"remote {int(on)} {at % 2**32}") == "ok"

    def interlock(self, at, on):
        assert self.ask(f"interlock {int(on)} {at % 2**32}") == "ok"

    def confirm(self, at):
        answer = self.ask(f"confirm {at % 2**32}")
        return None if answer == "ended" else decode(answer.encode(), Ack)

    def stands(self, at):
        answer = self.ask(f"standing {at % 2**32}")
        return None if answer == "own program" else [int(word) for word in answer.split()[1:]]


class InPython:
    """The rules in Python, called as a controller's loop does: first time, then messages."""

    def start(self, boot, limits):
        own = LocalLimits(
            door_most=limits["door_most"] / 1000,
            fan_least=limits["fan_least"] / 1000,
            ttl_most=limits["ttl_most"],
            beat_timeout=limits["beat_timeout"],
            accept_every=limits["accept_every"],
        )
        self.rules = Receiver(boot=boot, limits=own)
        return True

    def _now(self, at):
        now = at / 1000
        self.rules.standing(now)
        return now

    def reading(self, at, seq):
        self.rules.note_reading(seq, self._now(at))

    def beat(self, at, payload, retained=False):
        taken = self.rules.take_beat(payload, retained, self._now(at))
        asked, self.rules.asked_birth = self.rules.asked_birth, False
        return taken, asked

    def advice(self, at, payload, retained=False):
        return self.rules.take(payload, retained, self._now(at))

    def remote(self, at, on):
        self.rules.remote = on
        self._now(at)

    def interlock(self, at, on):
        self.rules.interlock = on
        self._now(at)

    def confirm(self, at):
        return self.rules.confirm(self._now(at))

    def stands(self, at):
        advice = self.rules.standing(at / 1000)
        if advice is None:
            return None
        given = [advice.position(name) for name in TARGETS]
        return [-1 if value is None else round(1000 * value) for value in given]


def payload_of(step):
    """The bytes of a step of a vector: hex, or text with a filling at its end."""
    if "hex" in step:
        return bytes.fromhex(step["hex"])
    return (step["payload"] + step.get("fill", "") * step.get("times", 0)).encode()


def vectors():
    """Every case of the vector files, with a name."""
    return [
        pytest.param(case, id=f"{path.stem}: {case['name']}")
        for path in sorted((Path(__file__).parent / "vectors").glob("*.json"))
        for case in json.loads(path.read_text(encoding="utf-8"))
    ]


def play(case, rules):
    """Walk through a case; where an answer is not the expected one, tell at which step."""
    rules.start(case.get("boot", 7), {**LIMITS, **case.get("limits", {})})
    for number, step in enumerate(case["steps"], 1):
        at, found, wanted = step["at"], None, step.get("expect")
        match step["do"]:
            case "reading":
                rules.reading(at, step["seq"])
            case "beat":
                found = rules.beat(at, payload_of(step), step.get("retained", False))
                wanted = (wanted, step.get("birth", False))
            case "advice":
                found = rules.advice(at, payload_of(step), step.get("retained", False)).code
            case "remote":
                rules.remote(at, step["on"])
            case "interlock":
                rules.interlock(at, step["on"])
            case "confirm":
                found = rules.confirm(at) is not None
            case "look":
                pass
        assert found == wanted, f"step {number}: {step}"
        if "stands" in step:
            assert rules.stands(at) == step["stands"], f"step {number}: {step}"
