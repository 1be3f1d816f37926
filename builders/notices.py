"""Writes THIRD-PARTY.md: what is installed at run time, and under which licence.

``python builders/notices.py`` writes; ``--check`` exits 1 when the file is stale. Names and
versions come from requirements.lock, so that the file is the same on every machine; licences come
from the metadata of the installed packages. No metadata says what a wheel bundles: `BUNDLED` is
kept by hand, and tests/test_notices.py compares it with the libraries found in the wheels.
"""

import re
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LOCK, PAGE = ROOT / "requirements.lock", ROOT / "THIRD-PARTY.md"

# As requirements.lock names what pyproject.toml asks for at run time.
ASKED_FOR = "walkboard (pyproject.toml)"

# Of packages that only some platforms install, as their own metadata has it: without this the
# file would depend on the machine.
ELSEWHERE = {"colorama": "BSD License"}

LONGEST_LICENCE = (
    40  # of the old free-text field; longer ones hold the licence's whole text. Chosen.
)


@dataclass(frozen=True, slots=True)
class Locked:
    """One package of the lock.

    Attributes
    ----------
    name : str
    versions : tuple of str
        Several where Python versions get different ones.
    only_on : str
        Marker of the platforms that install it; empty: all.
    wanted_by : frozenset of str
        Packages that need it, or `ASKED_FOR`.
    """

    name: str
    versions: tuple[str, ...]
    only_on: str
    wanted_by: frozenset[str]


@dataclass(frozen=True, slots=True)
class Bundled:
    """A library that a package's wheel contains.

    Attributes
    ----------
    package, library, licence : str
        The licence as an SPDX expression where there is one.
    files : tuple of str
        How the names of its shared libraries begin; empty where it is linked into the package.
    remark : str
    """

    package: str
    library: str
    licence: str
    files: tuple[str, ...] = ()
    remark: str = ""


_NOT_CALLED = "Walkboard never calls it: it only decodes."

# Libraries: as found in the wheels for Linux x86-64 on CPython 3.11 and 3.12, and for Windows
# where it says so. Licences: from the texts in the wheels for libsoxr, PFFFT, libsndfile, and what
# numpy and scipy bundle; all others from memory of each project's own licence file.
BUNDLED = (
    Bundled(
        "av", "FFmpeg", "LGPL-3.0-or-later; GPL-3.0-or-later with x264 and x265",
        ("libav", "libsw"),
        "The wheel's libavcodec is linked against x264 and x265 and cannot load without them.",
    ),
    Bundled("av", "x264", "GPL-2.0-or-later", ("libx264",), _NOT_CALLED),
    Bundled("av", "x265", "GPL-2.0-or-later", ("libx265",), _NOT_CALLED),
    Bundled("av", "LAME", "LGPL-2.0-or-later", ("libmp3lame",)),
    Bundled("av", "GnuTLS", "LGPL-2.1-or-later", ("libgnutls",)),
    Bundled(
        "av", "Nettle and Hogweed", "LGPL-3.0-or-later OR GPL-2.0-or-later",
        ("libnettle", "libhogweed"),
    ),
    Bundled("av", "GMP", "LGPL-3.0-or-later OR GPL-2.0-or-later", ("libgmp",)),
    Bundled("av", "libunistring", "LGPL-3.0-or-later OR GPL-2.0-or-later", ("libunistring",)),
    Bundled("av", "alsa-lib", "LGPL-2.1-or-later", ("libasound",)),
    Bundled("av", "opencore-amr", "Apache-2.0", ("libopencore-amr",)),
    Bundled("av", "dav1d", "BSD-2-Clause", ("libdav1d",)),
    Bundled("av", "SVT-AV1", "BSD-3-Clause-Clear", ("libSvtAv1Enc",), "With a patent licence."),
    Bundled("av", "VMAF", "BSD-2-Clause-Patent", ("libvmaf",)),
    Bundled("av", "Opus", "BSD-3-Clause", ("libopus",)),
    Bundled("av", "libvpx", "BSD-3-Clause", ("libvpx",)),
    Bundled("av", "WebP", "BSD-3-Clause", ("libwebp", "libsharpyuv")),
    Bundled("av", "Intel VPL", "MIT", ("libvpl",)),
    Bundled("av", "libdrm", "MIT", ("libdrm",)),
    Bundled("av", "Xau and XCB", "MIT and X11", ("libXau", "libxcb")),
    Bundled("cffi", "libffi", "MIT"),
    Bundled("cryptography", "OpenSSL", "Apache-2.0", (), "And Rust crates, MIT or Apache-2.0."),
    Bundled("numpy", "OpenBLAS with LAPACK", "BSD-3-Clause", ("libscipy_openblas",)),
    Bundled(
        "numpy", "GCC runtime", "GPL-3.0-or-later WITH GCC-exception-3.1", ("libgfortran",),
        "The exception lets any program ship it.",
    ),
    Bundled("numpy", "libquadmath", "LGPL-2.1-or-later", ("libquadmath",)),
    Bundled("pydantic-core", "Rust crates", "MIT or Apache-2.0"),
    Bundled("scipy", "OpenBLAS with LAPACK", "BSD-3-Clause", ("libscipy_openblas",)),
    Bundled(
        "scipy", "GCC runtime", "GPL-3.0-or-later WITH GCC-exception-3.1", ("libgfortran",),
        "The exception lets any program ship it.",
    ),
    Bundled("scipy", "libquadmath", "LGPL-2.1-or-later", ("libquadmath",)),
    Bundled(
        "sounddevice", "PortAudio", "MIT", (),
        "In the wheels for Windows and macOS; Linux uses the system's. Those for Windows also have "
        "a build with ASIO, which has terms of its own.",
    ),
    Bundled("soundfile", "libsndfile", "LGPL-2.1-or-later", ("libsndfile",)),
    Bundled("soundfile", "mpg123", "LGPL-2.1-only", (), "Linked into libsndfile."),
    Bundled("soundfile", "LAME", "LGPL-2.0-or-later", (), "Linked into libsndfile."),
    Bundled("soundfile", "FLAC, Ogg, Vorbis, Opus", "BSD-3-Clause", (), "Linked into libsndfile."),
    Bundled("soxr", "libsoxr", "LGPL-2.1-or-later", (), "Linked into the package's extension."),
    Bundled("soxr", "PFFFT", "BSD-like (FFTPACK)", (), "Linked into the package's extension."),
    Bundled(
        "typst", "Rust crates", "MIT, Apache-2.0, BSD and others", (),
        "Typst itself is Apache-2.0; its repository lists the crates.",
    ),
    Bundled(
        "typst", "fonts", "OFL-1.1, GUST Font License, Bitstream Vera", (),
        "Libertinus, New Computer Modern, DejaVu Sans Mono; they end up in the sheets.",
    ),
)  # fmt: skip


def read_lock(text: str) -> dict[str, Locked]:
    """The packages of a lock, by name.

    Parameters
    ----------
    text : str
        As ``uv pip compile --generate-hashes`` writes it, with its ``# via`` comments.
    """
    found: dict[str, Locked] = {}
    name = ""
    for line in text.splitlines():
        pinned = re.match(r"([A-Za-z0-9._-]+)==(\S+)(?: ; (.*?))? \\$", line)
        if pinned:
            name, version, marker = pinned[1], pinned[2], pinned[3] or ""
            earlier = found.get(name)
            if earlier is None:
                found[name] = Locked(name, (version,), marker, frozenset())
            else:  # another version for other versions of Python
                found[name] = Locked(
                    name, (*earlier.versions, version), earlier.only_on, earlier.wanted_by
                )
            continue
        wanted = re.match(r"    #(?: via|  ) +(\S.*)$", line)
        if name and wanted:
            at = found[name]
            found[name] = Locked(
                at.name, at.versions, at.only_on, at.wanted_by | {wanted[1].strip()}
            )
    return found


def at_run_time(locked: Mapping[str, Locked]) -> list[Locked]:
    """Those that Walkboard needs to run, in the order of their names; the rest only builds it."""
    needed: set[str] = set()
    grown = True
    while grown:
        more = {
            name for name, package in locked.items() if package.wanted_by & (needed | {ASKED_FOR})
        }
        grown = more != needed
        needed = more
    return [locked[name] for name in sorted(needed)]


def licence_of(name: str) -> str:
    """The licence that an installed package states: its SPDX expression, else its older fields."""
    if name in ELSEWHERE:
        return ELSEWHERE[name]
    try:
        said = metadata.metadata(name)
    except metadata.PackageNotFoundError:
        sys.exit(f"{name} is locked but not installed: run make, or name it in ELSEWHERE")
    expression = "".join(said.get_all("License-Expression") or [])
    free_text = "".join(said.get_all("License") or []).strip()
    classifiers = [c for c in said.get_all("Classifier") or [] if c.startswith("License :: ")]
    if expression:
        return expression
    if free_text and len(free_text) <= LONGEST_LICENCE and "\n" not in free_text:
        return free_text
    if classifiers:
        return " and ".join(c.rpartition(" :: ")[2] for c in classifiers)
    sys.exit(f"{name} states no licence: look it up and name it in ELSEWHERE")


def page(packages: Sequence[Locked]) -> str:
    """The whole file."""
    lines = [
        "# What Walkboard installs, and under which licence",
        "",
        "Written by `python builders/notices.py` from requirements.lock and the metadata of the",
        "packages. Walkboard itself is under the MIT licence (LICENSE) and contains none of these;",
        "whoever installs it from the lock fetches them from their own projects.",
        "",
        "**If you ship an installer or an image that contains them**, you pass them on and must",
        "keep to their licences: include their texts and notices, keep the LGPL libraries",
        "replaceable, and offer the source of the LGPL and GPL ones. PyAV's wheel links FFmpeg",
        "against x264 and x265: treat a bundle with that wheel as a whole that may only be passed",
        "on under the GPL, version 3 or later (the MIT licence allows that), or build PyAV against",
        "an FFmpeg without them. This is not legal advice.",
        "",
        "No lighter decoder of M4A is known to us: libsndfile has no AAC, and a look at names on",
        "PyPI found none. So PyAV stays, loaded only for files that need it.",
        "",
        "## Packages",
        "",
        "| package | version | licence as it states it |",
        "| --- | --- | --- |",
    ]
    for package in packages:
        versions = " or ".join(package.versions)
        if len(package.versions) == 1 and package.name in ELSEWHERE:
            versions += f" (if {package.only_on})"
        lines.append(f"| {package.name} | {versions} | {licence_of(package.name)} |")
    lines += [
        "",
        "Two versions: which one depends on the version of Python.",
        "",
        "## What their wheels contain",
        "",
        "Kept by hand; which of them a wheel has differs with platform and version. The licence",
        "texts in the wheels are what counts.",
        "",
        "| wheel | contains | licence | remark |",
        "| --- | --- | --- | --- |",
    ]
    lines += [f"| {b.package} | {b.library} | {b.licence} | {b.remark} |" for b in BUNDLED]
    return "\n".join(lines) + "\n"


def main() -> int:
    packages = at_run_time(read_lock(LOCK.read_text(encoding="utf-8")))
    gone = {b.package for b in BUNDLED} - {p.name for p in packages}
    if gone:
        sys.exit(f"BUNDLED names what is no longer locked: {', '.join(sorted(gone))}")
    text = page(packages)
    if PAGE.exists() and PAGE.read_text(encoding="utf-8") == text:
        return 0
    if "--check" in sys.argv[1:]:
        print(f"{PAGE.name} is stale: run python builders/notices.py", file=sys.stderr)
        return 1
    PAGE.write_text(text, encoding="utf-8")
    print(f"wrote {PAGE.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
