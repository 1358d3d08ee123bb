"""Ctrl-C at the worst moments: while libraries load, inside a destructor. One line, exit 130, no traceback."""

import subprocess
import sys

import pytest

# A command of our own in the place of `steer next`, which is interrupted where we say.
SCRIPT = """
import os, signal, sys, time, types, weakref
import steer.cli.main as cli

def press(*_):
    os.kill(os.getpid(), signal.SIGINT)
    for _ in range(1000): pass  # let it arrive here

class Thing:
    pass

def plainly():
    press()

def as_a_library_turns_it():
    try:
        press()
    except KeyboardInterrupt:
        raise ImportError("numpy.core failed to import") from None

def as_an_os_error():
    try:
        press()
    except KeyboardInterrupt:
        raise OSError(5, "interrupted") from None

def in_a_callback():
    thing = Thing()
    watch = weakref.ref(thing, press)
    del thing
    time.sleep(60)

def while_it_loads():
    class Finder:
        def find_spec(self, name, *_):
            if name == "fractions":
                press()
    sys.meta_path.insert(0, Finder())
    sys.modules.pop("fractions", None)
    import fractions

fake = types.ModuleType("fake")
fake.add_arguments = lambda parser: None
fake.run = lambda args: globals()[WHERE]() or 0
sys.modules["fake"] = fake
if WHERE == "before_the_command_line_is_read":
    class Parser(types.ModuleType):
        def __getattr__(self, name):
            press()
    sys.modules["argparse"] = Parser("argparse")
cli.COMMANDS["next"] = ("fake", "interrupted")
sys.argv = ["steer", "next"]
cli.console()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize(
    "where",
    [
        "plainly", "as_a_library_turns_it", "as_an_os_error", "in_a_callback", "while_it_loads",
        "before_the_command_line_is_read",
    ],
)  # fmt: skip
def test_one_line_and_no_traceback(where):
    done = subprocess.run(
        [sys.executable, "-c", f"WHERE = {where!r}\n{SCRIPT}"], capture_output=True, text=True, timeout=50
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "steer: stopped\n")


def test_an_error_that_nobody_interrupted_is_still_an_error():
    script = SCRIPT.replace("def plainly():\n    press()", "def plainly():\n    raise ImportError('real')")
    done = subprocess.run(
        [sys.executable, "-c", f"WHERE = 'plainly'\n{script}"], capture_output=True, text=True, timeout=50
    )
    assert done.returncode == 1
    assert "ImportError: real" in done.stderr


def test_whoever_asked_for_interrupts_to_be_ignored_keeps_that():
    script = "import signal\nsignal.signal(signal.SIGINT, signal.SIG_IGN)\n" + SCRIPT
    done = subprocess.run(
        [sys.executable, "-c", f"WHERE = 'plainly'\n{script}"], capture_output=True, text=True, timeout=50
    )
    assert (done.returncode, done.stderr) == (0, "")
