"""What the tests of the scripts share: a staging root, wheels made here (no network), and a systemctl that starts daemons."""

from __future__ import annotations

import base64
import hashlib
import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

CLONE = Path(__file__).parents[2]
SCHEDULE = """
[vehicle]
name = "Test van"
[broker]
host = "127.0.0.1"
port = 1
[[monitor]]
name = "dc"
dialect = "plain"
topic = "van/{circuit}/{quantity}"
[supply.house]
kind = "dc"
nominal_v = 12.8
[[circuit]]
id = "D1"
label = "Fridge"
supply = "house"
feed = "switched"
protection = { kind = "blade-fuse", type = "C", rating_a = 10 }
"""


def clone(folder: Path, version: str, *changes: tuple[str, str, str]) -> Path:
    """A clone of this version: the sources with these changes (file, what, by what), and a wheel of them in `wheels`."""
    folder.mkdir()
    for name in ("agent", "config", "deploy", "README.md", "LICENSE", "pyproject.toml"):
        subprocess.run(["cp", "-r", str(CLONE / name), str(folder)], check=True)
    pyproject = folder / "pyproject.toml"
    text = pyproject.read_text()
    assert 'version = "0.1.0"' in text
    pyproject.write_text(text.replace('version = "0.1.0"', f'version = "{version}"', 1))
    for name, what, by in (("__init__.py", '"0.1.0"', f'"{version}"'), *changes):
        file = folder / "agent" / "panelward" / name
        text = file.read_text()
        assert text.count(what) == 1, f"{name}: {text.count(what)} times {what!r}"
        file.write_text(text.replace(what, by))
    wheels = folder / "wheels"
    wheels.mkdir()
    _wheel(folder / "agent", wheels / f"panelward-{version}-py3-none-any.whl", version)
    return folder


def _wheel(sources: Path, wheel: Path, version: str) -> None:
    """A wheel as packaging.python.org's binary distribution format has it: the package, METADATA, WHEEL, RECORD."""
    info = f"panelward-{version}.dist-info"
    files = {str(p.relative_to(sources)): p.read_bytes() for p in sorted((sources / "panelward").rglob("*")) if p.is_file()}
    files = {name: body for name, body in files.items() if "__pycache__" not in name}
    files[f"{info}/METADATA"] = f"Metadata-Version: 2.1\nName: panelward\nVersion: {version}\n".encode()
    files[f"{info}/WHEEL"] = b"Wheel-Version: 1.0\nGenerator: tests\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    record = "".join(
        f"{name},sha256={base64.urlsafe_b64encode(hashlib.sha256(body).digest()).rstrip(b'=').decode()},{len(body)}\n"
        for name, body in files.items()
    )
    with zipfile.ZipFile(wheel, "w") as out:
        for name, body in files.items():
            out.writestr(name, body)
        out.writestr(f"{info}/RECORD", record + f"{info}/RECORD,,\n")


class Root:
    """A staging root, and the scripts run on it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.app, self.etc = folder / "opt/panelward", folder / "etc/panelward"
        self.journal = folder / "var/lib/panelward/journal.sqlite"
        self.backups = folder / "var/backups/panelward"
        self.systemctl: Path | None = None

    @property
    def env(self) -> dict[str, str]:
        # What panelward needs comes from the environment of the tests, panelward itself does not.
        env = {name: value for name, value in os.environ.items() if not name.startswith("PANELWARD_")}
        env |= {"PYTHONPATH": sysconfig.get_path("purelib"), "STAGING_ROOT": str(self.folder)}
        return env | ({"PANELWARD_SYSTEMCTL": str(self.systemctl)} if self.systemctl else {})

    def script(self, name: str, *arguments: str, of: Path | None = None) -> subprocess.CompletedProcess[str]:
        """A script of the clone `of`, with its wheels; None: backup.sh of what is installed."""
        command = ["bash", str((of or self.app / "current") / "deploy" / name), "--root", str(self.folder), *arguments]
        if of is not None and "--back" not in arguments and "--help" not in arguments:
            wheels = ["--wheels", str(of / "wheels")]
            command += [*wheels, "--python", sys.executable, "--", "--no-deps", "--ignore-installed", "--no-compile"]
        return subprocess.run(command, env=self.env, capture_output=True, text=True, timeout=120, check=False)

    @property
    def version(self) -> str:
        """Of the program in use, asked of it."""
        done = self.run("--version")
        assert done.returncode == 0, done.stderr
        return done.stdout.split()[-1]

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        command = [str(self.app / "current/bin/python"), "-P", "-m", "panelward", *arguments]
        return subprocess.run(command, env=self.env, capture_output=True, text=True, timeout=60, check=False)

    def releases(self) -> list[str]:
        return sorted(p.name.rpartition("-")[0] for p in (self.app / "releases").iterdir())
