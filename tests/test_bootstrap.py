"""script/bootstrap: asks for what is missing in one line, finishes what was broken off, and does nothing twice.

Runs the real script in a small copy of the repository, with stand-ins for Python, dpkg and apt that write down how
they were called. The real ones are what brought this test to run.
"""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

# Stands in for python3: version 3.11, makes a .venv that holds itself, and writes down what pip was asked for.
PYTHON = """#!/bin/sh
case "$1 $2" in
"-V ") echo "Python ${FAKE_VERSION:-3.11.2}" ;;
"-c import sys"*) [ "${FAKE_VERSION:-3.11.2}" != 3.9.2 ] ;;
"-c "*) [ -z "${FAKE_NO_VENV:-}" ] ;;
"-m venv") echo "venv $3 $4" >>"$CALLS"; rm -rf "$4"; mkdir -p "$4/bin"; cp "$0" "$4/bin/python" ;;
"-m pip")
    echo "pip $*" >>"$CALLS"
    sleep "${FAKE_PIP_TAKES:-0}"
    case "$*" in *"${FAKE_PIP_FAILS:-nothing}"*) echo "no space left"; exit 1 ;; esac
    case "$*" in *"${FAKE_KILL_AT:-nothing}"*) kill -9 "$PPID" ;; esac
    ;;
esac
"""
TOOLS = {
    "dpkg-query": 'for name; do :; done; case " $FAKE_MISSING " in *" $name "*) exit 1 ;; esac; printf installed',
    "apt-get": 'echo "apt-get $*" >>"$CALLS"; [ -z "${FAKE_APT_FAILS:-}" ] || { echo "no such host"; exit 100; }',
    "dpkg": 'echo "dpkg $*" >>"$CALLS"',
    "id": 'echo "${FAKE_UID:-0}"',
}
# What the script may use besides the stand-ins: nothing of the machine's own sudo, apt or Python.
REAL = [
    "cat",
    "cp",
    "dirname",
    "env",
    "flock",
    "grep",
    "mkdir",
    "mktemp",
    "rm",
    "sed",
    "sh",
    "sha256sum",
    "sleep",
    "tail",
]


class Clone:
    """A copy of what the script reads, with stand-ins on the path."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "clone"
        self.calls_file = folder / "calls"
        bin_folder = folder / "bin"
        bin_folder.mkdir()
        for name in ["script/bootstrap", "script/debian-packages", "pyproject.toml"]:
            self._copy(name)
        for path in (ROOT / "requirements").iterdir():
            self._copy(f"requirements/{path.name}")
        for name, body in TOOLS.items():
            self._script(bin_folder / name, f"#!/bin/sh\n{body}\n")
        self._script(bin_folder / "python3", PYTHON)
        for name in REAL:
            (bin_folder / name).symlink_to(str(shutil.which(name)))
        self.bin = bin_folder
        self.env = {"PATH": str(bin_folder), "CALLS": str(self.calls_file), "TMPDIR": str(folder), "FAKE_MISSING": ""}

    def _copy(self, name: str) -> None:
        (self.root / name).parent.mkdir(parents=True, exist_ok=True)
        (self.root / name).write_bytes((ROOT / name).read_bytes())
        (self.root / name).chmod((ROOT / name).stat().st_mode)

    @staticmethod
    def _script(path: Path, text: str) -> None:
        path.write_text(text)
        path.chmod(0o755)

    def with_sudo(self) -> None:
        self._script(self.bin / "sudo", '#!/bin/sh\necho "sudo $*" >>"$CALLS"\n[ "$1" = -n ] || exec "$@"\n')

    def bootstrap(self, *args: str, **env: str) -> subprocess.CompletedProcess[str]:
        self.calls_file.write_text("")
        command = [str(self.root / "script/bootstrap"), *args]
        return subprocess.run(command, env=self.env | env, capture_output=True, text=True, check=False, timeout=30)

    @property
    def calls(self) -> list[str]:
        return self.calls_file.read_text().splitlines()


@pytest.fixture
def clone(tmp_path: Path) -> Clone:
    return Clone(tmp_path)


def test_first_run_makes_all_and_the_second_does_nothing(clone: Clone) -> None:
    first = clone.bootstrap("run")
    assert (first.returncode, first.stderr) == (0, "")
    locked = "pip -m pip install --require-hashes --no-deps --only-binary :all: -r requirements/run.lock"
    assert [call.split(" --disable")[0] for call in clone.calls] == [
        "venv --clear .venv",
        locked,
        "pip -m pip install --no-deps --no-build-isolation --no-index -e .",
    ]
    second = clone.bootstrap("run")
    assert (second.returncode, second.stdout, second.stderr, clone.calls) == (0, "", "", [])


@pytest.mark.parametrize(("level", "lock"), [("test", "test.lock"), ("peers", "peers.lock")])
def test_a_higher_level_adds_only_its_own(clone: Clone, level: str, lock: str) -> None:
    clone.bootstrap("run")
    assert clone.bootstrap(level).returncode == 0
    (call,) = clone.calls
    assert f"-r requirements/{lock}" in call
    assert clone.bootstrap(level).stdout == clone.bootstrap("run").stdout == ""


@pytest.mark.parametrize("name", ["requirements/run.lock", "pyproject.toml", "script/bootstrap"])
def test_a_changed_file_is_acted_upon_without_a_new_environment(clone: Clone, name: str) -> None:
    clone.bootstrap("test")
    path = clone.root / name
    path.write_text(path.read_text() + "# changed\n")
    assert clone.bootstrap("test").returncode == 0
    assert [call.split()[0] for call in clone.calls] == ["pip", "pip", "pip"]


def test_a_changed_lock_of_one_level_leaves_the_other_alone(clone: Clone) -> None:
    clone.bootstrap("test")
    path = clone.root / "requirements/test.lock"
    path.write_text(path.read_text() + "# changed\n")
    assert clone.bootstrap("run").stdout == ""
    assert clone.bootstrap("test").returncode == 0
    (call,) = clone.calls
    assert "-r requirements/test.lock" in call


@pytest.mark.parametrize("at", ["requirements/run.lock", "-e .", "requirements/test.lock"])
def test_a_failed_install_is_told_in_one_sentence_and_finished_by_the_next_run(clone: Clone, at: str) -> None:
    broken = clone.bootstrap("test", FAKE_PIP_FAILS=at)
    assert broken.returncode == 1
    assert broken.stderr.splitlines()[0] == "no space left"
    assert broken.stderr.splitlines()[1].startswith("script/bootstrap: ")
    again = clone.bootstrap("test")
    assert again.returncode == 0
    # pip may have left half a package behind, so nothing of that .venv is kept
    assert [call.split()[0] for call in clone.calls] == ["venv", "pip", "pip", "pip"]
    assert clone.bootstrap("test").stdout == ""


@pytest.mark.parametrize("at", ["requirements/run.lock", "-e .", "requirements/test.lock"])
def test_a_killed_set_up_is_finished_by_the_next_run(clone: Clone, at: str) -> None:
    assert clone.bootstrap("test", FAKE_KILL_AT=at).returncode == -9
    assert clone.bootstrap("test").returncode == 0
    assert [call.split()[0] for call in clone.calls] == ["venv", "pip", "pip", "pip"]
    assert clone.bootstrap("test").stdout == ""


def test_two_at_once_wait_for_one_another(clone: Clone) -> None:
    command = [str(clone.root / "script/bootstrap"), "run"]
    env = clone.env | {"FAKE_PIP_TAKES": "0.2"}
    both = [subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    said = [process.communicate(timeout=30)[0] for process in both]
    assert [process.returncode for process in both] == [0, 0]
    assert sorted(call.split()[0] for call in clone.calls) == ["pip", "pip", "venv"], "one of them did the work"
    assert "Waiting for another set-up of this clone to end\n" in said


def test_a_moved_clone_or_another_python_gets_a_new_environment(clone: Clone) -> None:
    clone.bootstrap("run")
    clone.bootstrap("run", FAKE_VERSION="3.13.1")
    assert clone.calls[0] == "venv --clear .venv"
    clone.bootstrap("run", FAKE_VERSION="3.13.5")
    assert clone.calls == []
    clone.root = clone.root.rename(clone.root.with_name("elsewhere"))
    clone.bootstrap("run", FAKE_VERSION="3.13.5")
    assert clone.calls[0] == "venv --clear .venv"


def test_missing_packages_are_installed_by_root(clone: Clone) -> None:
    done = clone.bootstrap("run", FAKE_MISSING="espeak-ng chromium python3")
    assert done.returncode == 0
    assert "Debian packages: espeak-ng\n" in done.stdout, "chromium is for the tests only"
    assert [call.split()[0] for call in clone.calls[:3]] == ["dpkg", "apt-get", "apt-get"]
    assert clone.calls[2].endswith(" espeak-ng")


def test_python3_venv_is_asked_for_only_where_python_lacks_it(clone: Clone) -> None:
    done = clone.bootstrap("run", FAKE_NO_VENV="yes", FAKE_UID="1000")
    assert "python3-venv" in done.stderr
    assert clone.bootstrap("run").returncode == 0
    assert clone.bootstrap("run", FAKE_NO_VENV="yes", FAKE_UID="1000").returncode == 0, ".venv is there already"


def test_without_root_one_line_says_what_to_install(clone: Clone) -> None:
    refused = clone.bootstrap("test", FAKE_MISSING="espeak-ng chromium", FAKE_UID="1000")
    assert refused.returncode == 1
    assert refused.stdout == ""
    assert refused.stderr == (
        "script/bootstrap: as root, run: apt-get update && apt-get install --no-install-recommends espeak-ng chromium "
        "(then start this again)\n"
    )
    assert clone.calls == []


def test_sudo_is_used_where_there_is_one(clone: Clone) -> None:
    clone.with_sudo()
    assert clone.bootstrap("run", FAKE_MISSING="espeak-ng", FAKE_UID="1000").returncode == 0
    assert "sudo dpkg --configure -a" in clone.calls
    assert [call for call in clone.calls if call.startswith("apt-get") and call.endswith(" espeak-ng")] != []


def test_failing_apt_is_told(clone: Clone) -> None:
    failed = clone.bootstrap("run", FAKE_MISSING="espeak-ng", FAKE_APT_FAILS="yes")
    assert failed.returncode == 1
    assert failed.stderr.startswith("no such host\nscript/bootstrap: apt-get update failed; see above, and start this")
    assert failed.stderr.count("\n") == 2


def test_an_old_python_is_told(clone: Clone) -> None:
    refused = clone.bootstrap("run", FAKE_VERSION="3.9.2")
    assert refused.returncode == 1
    assert refused.stderr == ("script/bootstrap: needs Python 3.11 or newer as python3 (or PYTHON=/path/to/python3)\n")
    assert clone.calls == []


@pytest.mark.parametrize("args", [(), ("all",)])
def test_wrong_use(clone: Clone, args: tuple[str, ...]) -> None:
    wrong = clone.bootstrap(*args)
    assert (wrong.returncode, wrong.stderr) == (2, "usage: script/bootstrap run|test|peers\n")


def test_every_line_of_the_package_list_is_read(clone: Clone) -> None:
    lines = (ROOT / "script/debian-packages").read_text().splitlines()
    names = [line.split()[1] for line in lines if not line.startswith("#")]
    assert len(names) >= 5
    refused = clone.bootstrap("test", FAKE_MISSING=" ".join(names), FAKE_UID="1000")
    assert f"--no-install-recommends {' '.join(names)} (then" in refused.stderr


@pytest.mark.parametrize("name", ["script/bootstrap", "script/try", "script/test", "script/lock", ".ci/run"])
def test_scripts_are_executable_plain_shell(name: str) -> None:
    path = ROOT / name
    assert os.access(path, os.X_OK)
    assert path.read_text().startswith("#!/bin/sh\n")
    assert subprocess.run(["/bin/sh", "-n", str(path)], check=False).returncode == 0
