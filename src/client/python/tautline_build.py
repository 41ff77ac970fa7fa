"""Makes the wheel for `pip install` (PEP 517, PEP 427), so that installing needs no network and no other package."""

import base64
import hashlib
import os
import re
import tarfile
import zipfile

HERE = os.path.dirname(os.path.abspath(__file__))
MODULES = ("tautline_client.py", "tautline_grab.py")
SOURCES = MODULES + ("tautline_build.py", "pyproject.toml")


def _read(name):
    with open(os.path.join(HERE, name), encoding="utf8") as file:
        return file.read()


def _metadata():
    """What pyproject.toml says; Python has a reader of its own for it only from 3.11 on."""
    project = _read("pyproject.toml").partition("[project]")[2]
    return dict(re.findall(r'^([a-z-]+) = "(.*)"$', project, re.MULTILINE))


def _core_metadata(project):
    fields = (
        ("Metadata-Version", "2.1"), ("Name", project["name"]), ("Version", project["version"]),
        ("Summary", project["description"]), ("License", project["license"]),
        ("Requires-Python", project["requires-python"]),
    )
    return "".join(f"{name}: {value}\n" for name, value in fields)


def build_wheel(wheel_directory, config_settings=None, metadata_directory=None):
    project = _metadata()
    stem = f"{project['name'].replace('-', '_')}-{project['version']}"
    info = f"{stem}.dist-info"
    # Installed, each is a package of one file: only packages can say that they are typed (PEP 561).
    files = {}
    for module in MODULES:
        package = module[:-len(".py")]
        files[f"{package}/__init__.py"] = _read(module)
        files[f"{package}/py.typed"] = ""
    files["tautline_client/__main__.py"] = "from tautline_client import command\n\ncommand()\n"
    files[f"{info}/METADATA"] = _core_metadata(project)
    files[f"{info}/WHEEL"] = "Wheel-Version: 1.0\nGenerator: tautline_build\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    record = ""
    for path, text in files.items():
        digest = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
        record += f"{path},sha256={digest},{len(text.encode())}\n"
    files[f"{info}/RECORD"] = f"{record}{info}/RECORD,,\n"
    name = f"{stem}-py3-none-any.whl"
    with zipfile.ZipFile(os.path.join(wheel_directory, name), "w", zipfile.ZIP_DEFLATED) as wheel:
        for path, text in files.items():
            wheel.writestr(path, text.encode())
    return name


def build_sdist(sdist_directory, config_settings=None):
    project = _metadata()
    stem = f"{project['name'].replace('-', '_')}-{project['version']}"
    name = f"{stem}.tar.gz"
    with tarfile.open(os.path.join(sdist_directory, name), "w:gz", format=tarfile.PAX_FORMAT) as archive:
        for source in SOURCES:
            archive.add(os.path.join(HERE, source), f"{stem}/{source}")
    return name
