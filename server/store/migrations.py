"""The database's shape, as named steps that are applied once each."""

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

migrations = Migrations("calmpass")

_SAMPLES = {
    "position": "fix INTEGER, utc REAL, lat REAL, lon REAL, alt REAL, speed REAL, course REAL, sats INTEGER, "
    "hdop REAL, sd_east REAL, sd_north REAL",
    "flow": "pulses INTEGER, edge REAL, edges_rejected INTEGER",
    "wind": "pulses INTEGER, edge REAL, edges_rejected INTEGER, speed REAL, from_bow REAL",
    "climate": "temperature REAL, humidity REAL",
    "event": "kind TEXT, detail TEXT",
    "operator": "utc REAL, kind TEXT, detail TEXT",
}
"""Columns of each stream's table behind boot, seq, mono and received, in the order of the wire's fields."""


@migrations()
def create_tables(db: Database) -> None:
    """Boots, a typed table a stream, and what does not fit into one."""
    db.execute("CREATE TABLE boot (id INTEGER PRIMARY KEY, rig TEXT NOT NULL, name TEXT NOT NULL, UNIQUE (rig, name))")
    for stream, columns in _SAMPLES.items():
        db.execute(
            f"CREATE TABLE {stream} (boot INTEGER NOT NULL, seq INTEGER NOT NULL, mono REAL NOT NULL, "
            f"received REAL NOT NULL, {columns}, PRIMARY KEY (boot, seq)) WITHOUT ROWID"
        )
    key = "boot INTEGER NOT NULL, stream TEXT NOT NULL"
    db.execute(
        f"CREATE TABLE verbatim ({key}, seq INTEGER NOT NULL, payload BLOB NOT NULL, "
        "PRIMARY KEY (boot, stream, seq)) WITHOUT ROWID"
    )
    db.execute(f"CREATE TABLE repeat (id INTEGER PRIMARY KEY, {key}, seq INTEGER NOT NULL, received REAL NOT NULL)")
    db.execute(
        f"CREATE TABLE settled ({key}, from_seq INTEGER NOT NULL, to_seq INTEGER NOT NULL, "
        "PRIMARY KEY (boot, stream, from_seq)) WITHOUT ROWID"
    )
    db.execute(
        "CREATE TABLE quarantine (id INTEGER PRIMARY KEY, topic TEXT NOT NULL, received REAL NOT NULL, "
        "reason TEXT NOT NULL, payload BLOB NOT NULL)"
    )
    db.execute("CREATE INDEX quarantine_by_time ON quarantine (received)")
    db.execute("CREATE TABLE tally (name TEXT PRIMARY KEY, count INTEGER NOT NULL) WITHOUT ROWID")


@migrations()
def create_jobs(db: Database) -> None:
    """Jobs: intervals over the raw log, each with its own frozen setup."""
    db.execute(
        "CREATE TABLE job (id INTEGER PRIMARY KEY, name TEXT NOT NULL, rig TEXT NOT NULL, state TEXT NOT NULL, "
        "created_utc REAL NOT NULL, start_boot TEXT, start_mono REAL, end_boot TEXT, end_mono REAL, "
        "setup TEXT NOT NULL, revision INTEGER NOT NULL DEFAULT 1)"
    )
    db.execute("CREATE TABLE default_setup (id INTEGER PRIMARY KEY CHECK (id = 1), setup TEXT NOT NULL)")


@migrations()
def note_boots(db: Database) -> None:
    """When each start's first sample came, so that nobody needs to look through all of them."""
    db.execute("ALTER TABLE boot ADD COLUMN first_received REAL")
    firsts = " UNION ALL ".join(f"SELECT boot, received FROM {stream}" for stream in _SAMPLES)
    db.execute(f"UPDATE boot SET first_received = (SELECT min(received) FROM ({firsts}) WHERE boot = boot.id)")


@migrations()
def keep_wind(db: Database) -> None:
    """The wind's history in small whole numbers: thousandths of m/s, ten-thousandths of the mean unit vector."""
    db.execute(
        "CREATE TABLE wind_source (id INTEGER PRIMARY KEY, kind TEXT NOT NULL, name TEXT NOT NULL, "
        "height_m REAL NOT NULL, step_s INTEGER NOT NULL, UNIQUE (kind, name, height_m, step_s))"
    )
    db.execute(
        "CREATE TABLE wind_block (source INTEGER NOT NULL, minute INTEGER NOT NULL, mean_mmps INTEGER NOT NULL, "
        "gust_mmps INTEGER, from_east INTEGER, from_north INTEGER, known_s INTEGER NOT NULL, "
        "below_s INTEGER NOT NULL, is_station INTEGER NOT NULL, PRIMARY KEY (source, minute)) WITHOUT ROWID"
    )


@migrations()
def keep_outlook(db: Database) -> None:
    """What was told of calm and asked for, so that a restart neither tells it again nor forgets it."""
    db.execute("CREATE TABLE outlook (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID")


@migrations()
def note_thinned(db: Database) -> None:
    """Which numbers of each stream were stored and have been removed since, and when by the device's clock."""
    db.execute(
        "CREATE TABLE thinned (boot INTEGER NOT NULL, stream TEXT NOT NULL, from_seq INTEGER NOT NULL, "
        "to_seq INTEGER NOT NULL, from_mono REAL NOT NULL, to_mono REAL NOT NULL, "
        "PRIMARY KEY (boot, stream, from_seq)) WITHOUT ROWID"
    )
    db.execute("CREATE INDEX repeat_by_key ON repeat (boot, stream, seq)")


@migrations()
def keep_calibrations(db: Database) -> None:
    """The record of the cup's calibrations."""
    db.execute(
        "CREATE TABLE cup_calibration (id INTEGER PRIMARY KEY, made_utc REAL NOT NULL, way TEXT NOT NULL, "
        "rig TEXT NOT NULL, found TEXT NOT NULL, applied_utc REAL)"
    )


@migrations()
def keep_cards(db: Database) -> None:
    """What people enter, in versions, and which of them each job rests on."""
    db.execute(
        "CREATE TABLE card (kind TEXT NOT NULL, number INTEGER NOT NULL, version INTEGER NOT NULL, "
        "made_utc REAL NOT NULL, is_retired INTEGER NOT NULL, body TEXT NOT NULL, "
        "PRIMARY KEY (kind, number, version)) WITHOUT ROWID"
    )
    db.execute("CREATE TABLE papers (job INTEGER PRIMARY KEY, body TEXT NOT NULL)")


@migrations()
def keep_choice(db: Database) -> None:
    """What the next job is to rest on."""
    db.execute("CREATE TABLE choice (id INTEGER PRIMARY KEY CHECK (id = 1), body TEXT NOT NULL)")


@migrations()
def keep_checks(db: Database) -> None:
    """The record of the sprayers' calibrations."""
    db.execute(
        "CREATE TABLE sprayer_check (id INTEGER PRIMARY KEY, sprayer INTEGER NOT NULL, way TEXT NOT NULL, "
        "made_utc REAL NOT NULL, entries TEXT NOT NULL, found TEXT NOT NULL, applied_version INTEGER)"
    )


@migrations()
def keep_records(db: Database) -> None:
    """Application records: drafts, signed ones that nothing changes, their amendments, and how long they are kept."""
    db.execute("CREATE TABLE record_draft (job INTEGER PRIMARY KEY, typed TEXT NOT NULL, zone TEXT NOT NULL)")
    db.execute(
        "CREATE TABLE record (job INTEGER PRIMARY KEY, parts TEXT NOT NULL, signed_utc REAL NOT NULL, "
        "signed_by TEXT NOT NULL, kept_from_utc REAL NOT NULL, digest TEXT NOT NULL, body TEXT NOT NULL)"
    )
    db.execute(
        "CREATE TABLE record_amendment (id INTEGER PRIMARY KEY, job INTEGER NOT NULL, digest TEXT NOT NULL, "
        "body TEXT NOT NULL)"
    )
    db.execute("CREATE TABLE retention (id INTEGER PRIMARY KEY CHECK (id = 1), body TEXT NOT NULL)")
    for table in ("record", "record_amendment"):
        db.execute(
            f"CREATE TRIGGER {table}_stays BEFORE UPDATE ON {table} "
            "BEGIN SELECT RAISE(ABORT, 'what was signed is never changed'); END"
        )


@migrations()
def keep_fills(db: Database) -> None:
    """What was filled into the tank; without a job it was before one began."""
    db.execute("CREATE TABLE fill (id INTEGER PRIMARY KEY, made_utc REAL NOT NULL, job INTEGER, body TEXT NOT NULL)")
