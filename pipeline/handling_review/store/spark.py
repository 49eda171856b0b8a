"""Person-time on Spark: three inputs as Parquet in a private folder, the same SQL file translated, the sums read back.

Nothing is opened to a network but the master that the program file names: with a local master everything listens on
127.0.0.1 alone and asks for a secret. What Spark writes besides (temporary files, its own messages, a warehouse that
nothing uses) stays in the private folder, which is removed with it.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from handling_review.problems import OutputProblem, ProgramProblem
from handling_review.stopping import undisturbed
from handling_review.store.database import Store
from handling_review.store.engine import FILE
from handling_review.store.portable import INSTEAD, Portable, translated

FOLDER = "spark"  # in the folder for spilled data: a build that is killed takes it along
LOCAL = "127.0.0.1"
MEMORY = "2g"  # of a local Spark; what does not fit goes to the private folder
PARTITIONS = "16"  # at most so many parts of a shuffle with a local master; Spark joins small ones
ANSWERS_WITHIN = 5.0  # seconds, for the port of a master
WORKERS_WITHIN = 180.0  # seconds, for workers of a cluster to take a first small task
INSTALL = 'Install handling-review[spark] (pip install "handling-review[spark]")'
_COLUMNS = ("person", "cell_no", "kind_no", "hours_e8")
_SPARK_TYPES = ("int", "int", "int", "bigint")
_TELLTALE = "SQLQueryContextLogger"  # PySpark prints errors under this name, with the values that they hold
_TYPES = {"int32": "INT", "int64": "BIGINT", "date32[day]": "DATE", "string": "STRING"}  # of Arrow, in Spark's words
_TABLE = "CREATE TABLE work.person_time (person INTEGER, cell_no INTEGER, kind_no INTEGER, hours_e8 BIGINT)"
_FOREIGN = {  # what a local Spark must not take from its surroundings: packages to fetch, another master
    *("PYSPARK_SUBMIT_ARGS", "SPARK_CONF_DIR", "SPARK_REMOTE", "SPARK_LOCAL_DIRS", "PYSPARK_GATEWAY_PORT"),
    *("SPARK_CONNECT_MODE_ENABLED", "SPARK_CLASSPATH", "SPARK_SUBMIT_OPTS"),
}


class SparkEngine:
    """Adds up person-time on Spark, at the master of the program file.

    Raises ``ProgramProblem`` at once where PySpark, sqlglot or Java is missing or the master does not answer.
    """

    def __init__(self, master: str) -> None:
        self.master = master
        self.label = f"spark {_installed()}"
        _needs_java()
        self._file = translated(FILE)
        _answers(master)

    def build_person_time(self, store: Store) -> None:
        """Create ``work.person_time`` in the store."""
        with private_folder(store.temporary) as folder, session(self.master, folder) as spark:
            add_up(spark, self._file, store, folder, is_cluster=not is_local(self.master))


def is_local(master: str) -> bool:
    """Whether a master is this machine."""
    return master.startswith("local")


@contextmanager
def private_folder(beside: Path) -> Iterator[Path]:
    """A new folder that only this user can read, gone at the end, whatever happens."""
    folder = beside.absolute() / FOLDER
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(mode=0o700)
    try:
        yield folder
    finally:
        with undisturbed():
            shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def session(master: str, folder: Path) -> Iterator[Any]:
    """A Spark session that works in ``folder`` and says nothing; its Java process has ended when the block has."""
    with _no_word_of_pandas():
        from pyspark import SparkConf, SparkContext, java_gateway
        from pyspark.logger import PySparkLogger
        from pyspark.sql import SparkSession

    PySparkLogger.getLogger(_TELLTALE).disabled = True
    launch: Any = java_gateway.launch_gateway
    started: list[Any] = []
    interrupt = signal.getsignal(signal.SIGINT)
    try:
        with (folder / "messages").open("wb") as messages, _surroundings(master, folder), _no_word_of_pandas():
            options = {"stdout": messages, "stderr": messages, "cwd": folder}
            with undisturbed():  # until it is known here, nobody could end a Java that has just been started
                started.append(launch(SparkConf(loadDefaults=False).setAll(_settings(master)), options))
            (gateway,) = started
            context = SparkContext(conf=SparkConf(_jvm=gateway.jvm).setAll(_settings(master)), gateway=gateway)
            _keep_interrupt(interrupt)  # Spark sets one of its own
            context.setLogLevel("OFF")
            spark = SparkSession(context)
    except Exception as error:
        _end(started)
        raise _not_started(master, error, folder) from None
    except BaseException:
        _end(started)
        raise
    finally:
        _keep_interrupt(interrupt)
    try:
        yield spark
    finally:
        _end(started)


def add_up(spark: Any, file: Portable, store: Store, folder: Path, *, is_cluster: bool = False) -> None:
    """Write the inputs of a translated file, run it, and create ``work.person_time`` from what comes out."""
    import pyarrow.dataset

    columns = {table: _write(store, table, names, folder / f"{table}.parquet") for table, names in file.reads.items()}
    try:
        for table, declared in columns.items():  # undeclared, Spark would run a task to look into the file
            rows = spark.read.schema(declared).parquet(_uri(folder / f"{table}.parquet"))
            rows.createOrReplaceTempView(table)
        if is_cluster:
            _workers_read(spark, next(iter(file.reads)))
        summed = spark.sql(file.query)
        found = tuple(summed.dtypes)
        if found != tuple(zip(_COLUMNS, _SPARK_TYPES, strict=True)):
            raise ProgramProblem(f"Spark gives {FILE}.sql other columns than DuckDB ({found}); {INSTEAD}.")
        summed.write.parquet(f"file://{folder / 'summed'}", compression="zstd")
    except ProgramProblem:
        raise
    except Exception as error:
        raise _failed(error, is_cluster=is_cluster) from None
    store.execute(_TABLE)
    parts = sorted((folder / "summed").glob("part-*.parquet"))
    if parts:  # an empty result can be no file at all
        found_rows = pyarrow.dataset.dataset([str(part) for part in parts], format="parquet").scanner().to_reader()
        store.append("person_time", found_rows, "work")


def _write(store: Store, table: str, columns: tuple[str, ...], path: Path) -> str:
    """Write columns of a table as Parquet; returns them with their types as Spark declares them."""
    import pyarrow.parquet

    try:
        rows = store.stream(f"SELECT {', '.join(columns)} FROM work.{table}")
        with pyarrow.parquet.ParquetWriter(path, rows.schema, compression="zstd") as writer:
            for batch in rows:
                writer.write_batch(batch)
            return ", ".join(
                f"{field.name} {_TYPES.get(str(field.type), _decimal(field.type))}" for field in rows.schema
            )
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else "disk error"
        raise OutputProblem(f"{path.parent}: what Spark is to read cannot be written there ({reason}).") from None


def _decimal(kind: Any) -> str:
    return f"DECIMAL({kind.precision}, {kind.scale})" if hasattr(kind, "precision") else str(kind)


def _workers_read(spark: Any, table: str) -> None:
    """A first small task, under a limit of time: a cluster without free workers would wait for ever."""
    trouble: list[BaseException] = []

    def task() -> None:
        try:
            spark.table(table).limit(1).collect()
        except Exception as error:
            trouble.append(error)

    thread = threading.Thread(target=task, daemon=True)
    thread.start()
    thread.join(WORKERS_WITHIN)
    if thread.is_alive():
        raise ProgramProblem(
            f"[store] master: Spark answers, and no worker took a task within {WORKERS_WITHIN:.0f} s. Start workers, "
            f"or {INSTEAD}."
        )
    if trouble:
        raise trouble[0]


def _settings(master: str) -> list[tuple[str, str]]:
    """Spark's settings: no page of its own, no store of tables, no word to anybody but the master."""
    found = {
        "spark.master": master,
        "spark.app.name": "handling-review",
        "spark.ui.enabled": "false",
        "spark.ui.showConsoleProgress": "false",
        "spark.eventLog.enabled": "false",
        "spark.log.level": "OFF",
        "spark.sql.catalogImplementation": "in-memory",
        "spark.sql.warehouse.dir": "warehouse",  # in the folder that Java is started in
        "spark.sql.ansi.enabled": "true",
        "spark.sql.session.timeZone": "UTC",
        "spark.sql.parquet.outputTimestampType": "TIMESTAMP_MICROS",
    }
    if is_local(master):
        found |= {
            "spark.driver.bindAddress": LOCAL,
            "spark.driver.host": LOCAL,
            "spark.driver.memory": MEMORY,
            "spark.authenticate": "true",  # with a secret made for this run: other users of the machine get no answer
            "spark.local.dir": "temporary",
            "spark.sql.shuffle.partitions": PARTITIONS,
        }
    return list(found.items())


@contextmanager
def _surroundings(master: str, folder: Path) -> Iterator[None]:
    """Environment variables for the start: a local Spark reads no configuration of the machine."""
    before = dict(os.environ)
    if is_local(master):
        for name in _FOREIGN:
            os.environ.pop(name, None)
        os.environ.update({"SPARK_CONF_DIR": str(folder), "SPARK_LOCAL_IP": LOCAL})
    elif os.environ.get("SPARK_LOCAL_IP") == LOCAL:  # pandera sets it: no worker would find the way back
        del os.environ["SPARK_LOCAL_IP"]
    try:
        yield
    finally:
        os.environ.clear()
        os.environ.update(before)


@contextmanager
def _no_word_of_pandas() -> Iterator[None]:
    """PySpark speaks up about pandas 3 when it is loaded; nothing here hands it a pandas frame."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "PySpark does not yet", FutureWarning)
        yield


def _end(started: list[Any]) -> None:
    """Stop Spark and wait until its Java process is gone, so that nothing writes into the folder any more."""
    from pyspark import SparkContext
    from pyspark.sql import SparkSession

    with undisturbed():
        context = SparkContext._active_spark_context
        if context is not None:
            with suppress(Exception):
                context.stop()
        for gateway in started:
            with suppress(Exception):
                gateway.shutdown()
            gateway.proc.stdin.close()
            try:
                gateway.proc.wait(10)
            except Exception:
                gateway.proc.kill()
                gateway.proc.wait()
        SparkContext._gateway = SparkContext._jvm = SparkContext._active_spark_context = None
        SparkSession._instantiatedSession = None


def _keep_interrupt(handler: Any) -> None:
    if threading.current_thread() is threading.main_thread() and handler is not None:
        signal.signal(signal.SIGINT, handler)


def _installed() -> str:
    """The version of PySpark. Raises ``ProgramProblem`` where it or sqlglot is missing."""
    try:
        with _no_word_of_pandas():
            import pyspark  # noqa: F401
        import sqlglot  # noqa: F401

        return version("pyspark")
    except (ImportError, PackageNotFoundError):
        raise ProgramProblem(f'[store] engine = "spark": PySpark is not installed. {INSTALL}, or {INSTEAD}.') from None


def _needs_java() -> None:
    """Raise ``ProgramProblem`` where Java is not there."""
    home = os.environ.get("JAVA_HOME")
    java = Path(home, "bin", "java") if home else None
    if not (java and java.is_file()) and not (java is None and shutil.which("java")):
        raise ProgramProblem(
            '[store] engine = "spark": Java is not there. Install Java 17 (Debian: openjdk-17-jre-headless) or mend '
            f"JAVA_HOME, or {INSTEAD}."
        )


def _answers(master: str) -> None:
    """Look whether somebody listens at the master. Raises ``ProgramProblem`` with what to do."""
    if master == "yarn" and not (os.environ.get("HADOOP_CONF_DIR") or os.environ.get("YARN_CONF_DIR")):
        raise ProgramProblem(
            '[store] master = "yarn": set HADOOP_CONF_DIR to the folder with the settings of your cluster, or '
            f"{INSTEAD}."
        )
    if is_local(master) or master == "yarn":
        return
    address = urlsplit(master.removeprefix("k8s://"))
    try:
        port = address.port or 443
        socket.create_connection((address.hostname or "", port), ANSWERS_WITHIN).close()
    except (OSError, ValueError) as error:
        raise _unreachable(master, getattr(error, "strerror", None) or type(error).__name__) from None


def _unreachable(master: str, why: str) -> ProgramProblem:
    return ProgramProblem(
        f"[store] master = {master!r} cannot be reached ({why}). Look at the address, start Spark there, or {INSTEAD}."
    )


def _not_started(master: str, error: Exception, folder: Path) -> ProgramProblem:
    """Why there is no session. Spark's own messages are read for known words only, never shown."""
    with suppress(OSError):
        said = (folder / "messages").read_text(encoding="utf-8", errors="replace")
        if "UnsupportedClassVersionError" in said or "Unrecognized option" in said:
            return ProgramProblem(f'[store] engine = "spark": the Java here is too old. Install Java 17, or {INSTEAD}.')
    if is_local(master):
        return ProgramProblem(
            f'[store] engine = "spark": Spark did not start ({_kind(error)}). Java 17 and {MEMORY} of memory are '
            f"needed; or {INSTEAD}."
        )
    return _unreachable(master, f"Spark did not start, {_kind(error)}")


def _failed(error: Exception, *, is_cluster: bool) -> ProgramProblem:
    """A failure of Spark by its kind; its text may hold values of rows."""
    place = (
        " The workers must see the output folder under the same path and run as the same user; name one on a shared "
        "drive with --out."
        if is_cluster
        else ""
    )
    return ProgramProblem(f"Spark could not add up person-time ({_kind(error)}).{place} Mend that, or {INSTEAD}.")


def _kind(error: Exception) -> str:
    """The names of an error: Spark's condition if it has one, and the innermost class of Java."""
    names = [type(error).__name__]
    with suppress(Exception):
        condition = error.getCondition()  # type: ignore[attr-defined]
        names += [condition] if condition else []
    with suppress(Exception):
        cause = getattr(error, "java_exception", None) or error._origin  # type: ignore[attr-defined]
        while cause.getCause() is not None:
            cause = cause.getCause()
        names.append(str(cause.getClass().getSimpleName()))
    return ", ".join(names)


def _uri(path: Path) -> str:
    """A path for Spark to read, in which nothing stands for other names."""
    return "file://" + re.sub(r"([\\{}\[\]*?])", r"\\\1", str(path))
