"""Start-up: what help loads and how long it takes, completion, and a real ctrl-C."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from command_line import ROOT

from burden.report.files.folder import write_folder

HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "pydantic", "jinja2", "icalendar")
HELP = "import sys\nfrom burden.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass\n"


def python(code: str) -> str:
    return subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True).stdout


def test_help_loads_nothing_heavy():
    code = HELP + f"print('loaded:', [m for m in {HEAVY} if m in sys.modules])"
    assert python(code).splitlines()[-1] == "loaded: []"


def test_sampling_find_does_not_wait_for_scipy():
    code = HELP.replace("'--help'", "'sampling', 'find', '--prevalence', '0.05'")
    assert python(code + "print('scipy' in sys.modules)").splitlines()[-1] == "False"


_COUNTED = """
import sys
calls = [0]
def called(frame, event, arg):
    calls[0] += event == "call"
sys.setprofile(called)
{code}
sys.setprofile(None)
print(calls[0])
"""


def test_help_takes_little_more_than_importing_click():
    """Under 0.4 s where `import click` takes 0.07 s; counted in calls, so that no load tells: 38 000 and 17 000."""
    calls = [int(python(_COUNTED.format(code=code)).splitlines()[-1]) for code in (HELP, "import click")]
    assert 0 < calls[1] < calls[0] < 3 * calls[1]


def test_completion_knows_commands_and_names():
    def completions(words: str, place: int) -> str:
        asked = f"COMP_WORDS={words!r}, COMP_CWORD='{place}', _BURDEN_COMPLETE='bash_complete'"
        script = f"import os\nos.environ.update({asked})\nfrom burden.cli import main\nmain(prog_name='burden')"
        return python(script)

    assert "plain,forecast" in completions("burden fore", 1)
    assert "plain,dactylogyrus" in completions("burden interval --parasite dac", 3)
    assert completions("burden estimte simu", 2).strip() == ""  # and no words into a line that is being written


_STOPPED_WHILE = """
import os, signal, sys
from pathlib import Path
signal.signal(signal.SIGINT, signal.default_int_handler)  # a job in the background is born deaf to it
{patch}
def stop(event, about):
    if event == "open" and Path(os.fsdecode(about[0] if isinstance(about[0], str | bytes) else "")).name == {name!r}:
        if about[2] & os.O_CREAT:
            os.kill(os.getpid(), signal.SIGINT)
sys.addaudithook(stop)  # whatever function opens the second file to write it
sys.argv = ["burden", *{words!r}]
from burden.__main__ import run
run()
"""
_MADE_AT_ONCE = """
import burden.report.write as room
room.report_of = lambda case, *options: room.Made({"report.html": b"new", "tables/x.csv": b"new"}, case)
"""


@pytest.mark.skipif(os.name != "posix", reason="a signal to oneself is sent in another way elsewhere")
@pytest.mark.parametrize("command", ["new", "report"])
def test_a_real_ctrl_c_between_two_files_leaves_what_was_there(tmp_path, command):
    out = tmp_path / "there"
    if command == "report":
        write_folder(out, {"report.html": b"old", "tables/x.csv": b"old"})
        words = ["report", str(ROOT / "simulated_data" / "koi_pond"), "--out", str(out)]
        code = _STOPPED_WHILE.format(patch=_MADE_AT_ONCE, name="x.csv", words=words)
    else:
        code = _STOPPED_WHILE.format(patch="", name="samples.csv", words=["new", str(out)])
    before = {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")}
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert (found.returncode, found.stderr.strip()) == (130, "burden: stopped")
    assert {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")} == before


def test_ctrl_c_while_the_command_line_is_loaded_leaves_quietly():
    code = "import sys\nclass Stop:\n    def find_spec(self, name, *more):\n        if name == 'click':\n            "
    code += "raise KeyboardInterrupt\nsys.meta_path.insert(0, Stop())\nfrom burden.__main__ import run\nrun()"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert (found.returncode, found.stderr.strip()) == (130, "burden: stopped")
