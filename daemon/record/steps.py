"""The steps of the record's tables: which there are, where a record stands, and on to the newest.

Alembic takes the steps, and is loaded only when there is one to take: with it a process that looks
into the record would be 12 MB larger, and start later.
"""

from pathlib import Path

from sqlalchemy import Connection, inspect

_MIGRATIONS = Path(__file__).with_name("migrations")


def known_steps() -> list[str]:
    """The names of all steps that this program knows, oldest first: what their files begin with."""
    files = (_MIGRATIONS / "versions").glob("[0-9]*_*.py")
    return sorted(path.name.partition("_")[0] for path in files)


def newest_step() -> str:
    """The step whose tables are this program's own."""
    return known_steps()[-1]


def step_of(connection: Connection) -> str | None:
    """The step at which this database's tables are; None where that is not told."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    step: str | None = connection.exec_driver_sql(
        "SELECT version_num FROM alembic_version"
    ).scalar()
    return step


def take_steps(connection: Connection) -> bool:
    """Bring the tables to the newest step, in the connection's transaction; whether they were not.

    Raises SQLAlchemy's DatabaseError.
    """
    if step_of(connection) == newest_step():
        return False
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
    return True
