"""A PostgreSQL server of the tests' own, in its own folder and reached by a socket in it."""

import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from walkboard.book.database.address import names_server, read_address, write_address
from walkboard.book.files.folder import RECORDINGS

USER = "walkboard"
_TEMPLATE = "empty_book"
# Nothing here survives the machine, so nothing waits for the disk.
_SETTINGS = {
    "listen_addresses": "",
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "wal_level": "minimal",
    "max_wal_senders": "0",
    "autovacuum": "off",
    "shared_buffers": "32MB",
    "max_connections": "60",
}


def programs() -> Path | None:
    """The folder with initdb and postgres: Debian's newest, else the path's."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    on_path = shutil.which("initdb")
    if found:
        return found[-1].parent
    return None if on_path is None else Path(on_path).resolve().parent


class Server:
    """A server with its data in a folder."""

    def __init__(self, folder: Path, place: Path) -> None:
        self.folder = folder
        self._place = place
        self._made = 0
        self._free: list[str] = []
        self._emptying = ""

    @contextmanager
    def running(self, **settings: str) -> Iterator[None]:
        """Start it, and end it as a crash would: at once, writing nothing more.

        Parameters
        ----------
        **settings : str
            In place of those that make tests quick.
        """
        given = [f"-c{name}={value}" for name, value in {**_SETTINGS, **settings}.items()]
        with (self.folder / "log").open("ab") as log:
            process = subprocess.Popen(
                [self._place / "postgres", "-D", self.folder / "data", "-k", self.folder, *given],
                stdout=log, stderr=log, stdin=subprocess.DEVNULL, cwd=self.folder,
                **_as_user(self.folder),
            )  # type: ignore[call-overload]  # fmt: skip
        with _end_with_us(process.pid, self.folder) as watch:
            try:
                wait_until_ready(self._place, self.folder, process)
                yield
            finally:
                process.send_signal(signal.SIGQUIT)  # postgresql.org/docs, 19.5
                process.wait()
                watch.kill()  # while its pipe is open: the folder may be needed again

    def address(self, database: str) -> str:
        return f"postgresql://{USER}@/{database}?host={self.folder}"

    def run(self, statement: str, database: str = "postgres") -> list[tuple[object, ...]]:
        import psycopg

        with closing(psycopg.connect(self.address(database), autocommit=True)) as connection:
            found = connection.execute(statement)
            return [] if found.description is None else found.fetchall()

    def new_database(self, template: str = "template0") -> str:
        """The address of a new database, a copy of another."""
        self._made += 1
        name = f"book_{self._made}"
        self.run(f"CREATE DATABASE {name} TEMPLATE {template}")
        return self.address(name)

    def empty_book(self, folder: Path) -> Path:
        """A new, empty book in a folder that has one name after the other."""
        folder.mkdir(parents=True)
        (folder / RECORDINGS).mkdir()
        write_address(folder, self.empty_database())
        return folder

    def empty_database(self) -> str:
        """The address of a database with the newest tables and no rows."""
        import psycopg

        while self._free:
            name = self._free.pop()
            try:
                self.run(self._to_empty(), name)
            except psycopg.errors.UndefinedTable:
                continue  # a test left something else in it
            return self.address(name)
        return self.new_database(self.template())

    def _to_empty(self) -> str:
        """Emptying a database costs a tenth of making one."""
        if not self._emptying:
            tables = self.run(
                "SELECT relname FROM pg_class WHERE relkind = 'r' AND relname <> 'alembic_version'"
                " AND relnamespace = 'public'::regnamespace",
                self.template(),
            )
            sequences = self.run("SELECT sequencename FROM pg_sequences", self.template())
            self._emptying = "; ".join(
                [
                    "SET session_replication_role = replica",  # no trigger, no reference
                    *(f'DELETE FROM "{name}"' for (name,) in tables),
                    *(f"SELECT setval('\"{name}\"', 1, false)" for (name,) in sequences),
                ]
            )
        return self._emptying

    def template(self) -> str:
        """The name of a database with the newest tables, made at the first call."""
        from walkboard.book.database.choosing import database_of
        from walkboard.book.migrating import build_tables

        if not self.run(f"SELECT 1 FROM pg_database WHERE datname = '{_TEMPLATE}'"):
            self.run(f"CREATE DATABASE {_TEMPLATE} TEMPLATE template0")
            with tempfile.TemporaryDirectory() as folder:
                write_address(Path(folder), self.address(_TEMPLATE))
                build_tables(database_of(Path(folder)))
        return _TEMPLATE

    def copy_beside(self, folder: Path) -> None:
        """Give a folder that was copied from another book a copy of its database too."""
        write_address(folder, self.copy_of(name_of(folder)))

    def copy_of(self, database: str) -> str:
        """The address of a copy, also of a database that is in use."""
        import psycopg

        try:
            return self.new_database(database)
        except psycopg.errors.ObjectInUse:  # as by a desk; a dump takes longer, and does not mind
            address = self.new_database()
            dumped = subprocess.run(
                [self._place / "pg_dump", "-d", self.address(database)],
                check=True, capture_output=True,
            )  # fmt: skip
            subprocess.run(
                [self._place / "psql", "-q", "-v", "ON_ERROR_STOP=1", "-d", address],
                check=True, capture_output=True, input=dumped.stdout,
            )  # fmt: skip
            return address

    def give_back(self, name: str) -> None:
        """Take a database that no test needs any more; it may be given twice."""
        if name in self._free:
            return
        ended = f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'"
        self.run(ended)
        self._free.append(name)


def name_of(folder: Path) -> str:
    """The name of a book's database on the tests' server."""
    return read_address(folder).partition("@/")[2].partition("?")[0]


@contextmanager
def installed() -> Iterator[Server]:
    """A new server that does not run yet; skips the test where none is installed."""
    place = programs()
    if place is None:
        pytest.skip("PostgreSQL's server is not installed (Debian: postgresql)")
    folder = Path(tempfile.mkdtemp(prefix="walkboard-postgresql-", dir="/tmp"))  # a short path
    as_user = _as_user(folder)
    try:
        subprocess.run(
            [place / "initdb", "-D", folder / "data", "-U", USER, "-A", "trust", "-E", "UTF8",
             # An order of words unlike SQLite's, so that a page that relies on it shows.
             "--no-sync", "--locale=C.UTF-8", "--locale-provider=icu", "--icu-locale=en-US"],
            check=True, capture_output=True, cwd=folder, **as_user,  # type: ignore[call-overload]
        )  # fmt: skip
        yield Server(folder, place)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def started() -> Iterator[Server]:
    """A server, while it is needed."""
    with installed() as server, server.running():
        yield server


# Ends when the pipe from the tests is closed, as the system does when they are killed.
_WATCH = """
import os, shutil, signal, sys
sys.stdin.buffer.read()
try:
    os.kill(int(sys.argv[1]), signal.SIGQUIT)
except ProcessLookupError:
    pass
shutil.rmtree(sys.argv[2], ignore_errors=True)
"""


def _end_with_us(server: int, folder: Path) -> subprocess.Popen[bytes]:
    """A process that ends the server and removes its folder if this one is killed."""
    return subprocess.Popen(
        [sys.executable, "-I", "-S", "-c", _WATCH, str(server), str(folder)],
        stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        start_new_session=True,  # a Ctrl-C, or a kill of the whole group, does not end it first
    )  # fmt: skip


def wait_until_ready(place: Path, folder: Path, process: subprocess.Popen[bytes]) -> None:
    while True:
        ready = subprocess.run([place / "pg_isready", "-q", "-h", folder], check=False)
        if ready.returncode == 0:
            return
        if process.poll() is not None:
            raise RuntimeError((folder / "log").read_text())
        time.sleep(0.05)


def _as_user(folder: Path) -> dict[str, object]:
    """PostgreSQL refuses to run as root; Debian's package has a user for it."""
    if os.geteuid() != 0:
        return {}
    try:
        user = pwd.getpwnam("postgres")
    except KeyError:
        pytest.skip("as root, PostgreSQL needs a user postgres to run as")
    os.chown(folder, user.pw_uid, user.pw_gid)
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """One server for all tests of a session."""
    pytest.importorskip("psycopg", reason="the package psycopg is not installed")
    with started() as server:
        yield server


def books_in(folder: Path) -> Iterator[Path]:
    """The books on a server in a folder or one below it."""
    for place in (folder, *folder.glob("*/"), *folder.glob("*/*/")):
        if names_server(place):
            yield place


__all__ = ["Server", "postgresql", "started"]
