"""The tables of the season log: what stands in its file, for whoever reads it.

One SQLite file, in whole numbers, in the order in which things came. Every
scan of every run has one number of the file, its id: a run takes the next free
number for itself, and its scan with sequence number n has the run's id + n.
Numbers have no holes: each is a run's, a scan's, or told of in `lost` or
`forgotten`. So any row of any table can be put in its place in time by its
scan's id alone, and one that is missing is noticed.

=============  ==============================================================
meta           "application", "schema_version", "openings" (how often opened),
               "records" (how many changes stand in `record`)
name           small numbers for the names of probes and mats
run            the header of a run: what an audit needs to decide it again
note           sentences about a run's beginning; scan is the run's id
ending         how a run ended, after its last scan `scan`: the cause, in words
clock          a stretch of even time: from scan `scan` on, and until the next
               row, scan i is due at run_ms + (i - scan) * every_ms. The same
               for utc_ms. Local minutes since 1970 are utc_ms / 60000, rounded
               down, + zone_min. A new row begins where the bench clock, the
               wall clock, the zone, or one of the three flags leaves the line
scan           late_ms: after it was due. skew_ms: wall clock against the line
reading        id = scan * 4096 + its place in the scan; probe; age_ms: how
               long before the scan it was measured; milli: thousandths of the
               probe's unit, before its offset, NULL if unusable; quality:
               0 good, 1 uncertain, 2 bad
remark         why a reading is not good: for such readings only
refusal        a message that gave no value, with its first bytes
relay_report   what a relay said; reason NULL is "command"
request        a person's wish, as JSON
command        only where a mat's cause or state differs from its command
               before; numbers is JSON: [[name, value], …]
doubt          a reading that the core did not take; reading is its place in
               the scan, NULL if it is none of the scan's
power_report   what a mat's wattmeter said [mW]
alarm_change   an alarm came, went or was dealt with: turn; who: by whom
answer         what became of a request
lost           scans `first` to `last` could not be written: their number
forgotten      runs and scans `first` to `last` were deleted, as a person wished
snapshot       the state after a scan: JSON, deflated (RFC 1950); after the
               first scan, once an hour and at the end of a run; where scans
               are folded, once a day
block          scans `first` to `last`, folded: all of one stretch of even
               time. probes: the numbers of the probes that spoke. news: which
               tables have something for the journal in it, by name
folded         scans: late_ms and skew_ms of a block's scans (see series.py);
               body: what happened in them, but for readings, as deflated JSON
               (see folding.py)
record         a change of what people saw and did (see controller/records): id
               counts from 1 without holes; who wrote it, and when; kind and
               subject: which record; body: the record from then on, as JSON
series         the readings of one probe in a block, id = probe * 2^40 + first:
               n readings; hours: least, greatest and sum of those taken, by
               the hour in which they were measured; body: their columns,
               deflated (see series.py)
=============  ==============================================================

A scan of a block has no row in `scan`, unless somebody asked for something in
it or an alarm changed: requests, answers and alarms stay as rows for good.

`n` is the place within the scan, from 0. `sum` proves that a row is as it was
written: a CRC-32 (as in RFC 1952) of what stands in the row, or, in `scan`,
three bytes of one of all that stands in any table about that scan (see
sums.py). The views `scan_time`, `sample` and `switching` show what is not
folded with plain times and names, for people with a SQLite shell. What may live
here: the shape of the file.
"""

APPLICATION_ID = 0x62486C67
"""Four letters, "bHlg", in the file's header: this is a season log."""

SCHEMA_VERSION = 4

READINGS_PER_SCAN = 4096
"""Room for readings within one scan's number."""

SERIES_OF_PROBE = 1 << 40
"""From the first series of one probe to the first of the next."""

RECORD_TABLE = """CREATE TABLE record (
        id INTEGER PRIMARY KEY, utc_ms INTEGER NOT NULL, who TEXT NOT NULL,
        kind TEXT NOT NULL, subject TEXT NOT NULL, body TEXT NOT NULL,
        sum INTEGER NOT NULL) STRICT"""

TABLES = (
    """CREATE TABLE meta (
        key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID""",
    """CREATE TABLE name (
        id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE,
        sum INTEGER NOT NULL) STRICT""",
    """CREATE TABLE run (
        id INTEGER PRIMARY KEY, run TEXT NOT NULL UNIQUE, origin TEXT NOT NULL,
        started_run_ms INTEGER NOT NULL, started_utc_ms INTEGER NOT NULL,
        timezone TEXT NOT NULL, decisions_version INTEGER NOT NULL,
        versions TEXT NOT NULL, plan TEXT NOT NULL, state TEXT NOT NULL,
        sum INTEGER NOT NULL) STRICT""",
    """CREATE TABLE note (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, sentence TEXT NOT NULL,
        sum INTEGER NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE ending (
        scan INTEGER PRIMARY KEY, run_ms INTEGER NOT NULL,
        utc_ms INTEGER NOT NULL, cause TEXT NOT NULL,
        sum INTEGER NOT NULL) STRICT""",
    """CREATE TABLE clock (
        scan INTEGER PRIMARY KEY, run_ms INTEGER NOT NULL,
        utc_ms INTEGER NOT NULL, every_ms INTEGER NOT NULL,
        zone_min INTEGER NOT NULL, clock_ok INTEGER NOT NULL,
        link_up INTEGER NOT NULL, log_ok INTEGER NOT NULL,
        sum INTEGER NOT NULL) STRICT""",
    """CREATE TABLE scan (
        id INTEGER PRIMARY KEY, late_ms INTEGER NOT NULL,
        skew_ms INTEGER NOT NULL, sum INTEGER NOT NULL) STRICT""",
    """CREATE TABLE reading (
        id INTEGER PRIMARY KEY, probe INTEGER NOT NULL, age_ms INTEGER NOT NULL,
        milli INTEGER, quality INTEGER NOT NULL) STRICT""",
    """CREATE TABLE remark (
        reading INTEGER PRIMARY KEY, note TEXT NOT NULL) STRICT""",
    """CREATE TABLE refusal (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, source TEXT NOT NULL,
        age_ms INTEGER NOT NULL, reason TEXT NOT NULL, raw TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE relay_report (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, mat INTEGER NOT NULL,
        age_ms INTEGER NOT NULL, energised INTEGER NOT NULL, seq INTEGER,
        reason TEXT, retained INTEGER NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE INDEX relay_news ON relay_report (scan, n) WHERE reason IS NOT NULL""",
    """CREATE TABLE power_report (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, mat INTEGER NOT NULL,
        age_ms INTEGER NOT NULL, power_mw INTEGER NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE request (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, request INTEGER NOT NULL,
        who TEXT NOT NULL, wish TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE command (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, mat INTEGER NOT NULL,
        energised INTEGER NOT NULL, cause TEXT NOT NULL, numbers TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE doubt (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, probe INTEGER NOT NULL,
        age_ms INTEGER NOT NULL, temp_mc INTEGER, quality INTEGER NOT NULL,
        why TEXT NOT NULL, reading INTEGER,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE alarm_change (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, kind TEXT NOT NULL,
        subject TEXT NOT NULL, turn TEXT NOT NULL, numbers TEXT NOT NULL,
        who TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE answer (
        scan INTEGER NOT NULL, n INTEGER NOT NULL, request INTEGER NOT NULL,
        accepted INTEGER NOT NULL, sentence TEXT NOT NULL,
        PRIMARY KEY (scan, n)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE lost (
        first INTEGER PRIMARY KEY, last INTEGER NOT NULL,
        sum INTEGER NOT NULL) STRICT""",
    """CREATE TABLE forgotten (
        first INTEGER PRIMARY KEY, last INTEGER NOT NULL,
        sum INTEGER NOT NULL) STRICT""",
    """CREATE TABLE snapshot (
        scan INTEGER PRIMARY KEY, state BLOB NOT NULL,
        sum INTEGER NOT NULL) STRICT""",
    """CREATE TABLE block (
        first INTEGER PRIMARY KEY, last INTEGER NOT NULL, probes TEXT NOT NULL,
        news TEXT NOT NULL, sum INTEGER NOT NULL) STRICT""",
    """CREATE TABLE folded (
        first INTEGER PRIMARY KEY, scans BLOB NOT NULL, body BLOB NOT NULL,
        sum INTEGER NOT NULL) STRICT""",
    """CREATE TABLE series (
        id INTEGER PRIMARY KEY, n INTEGER NOT NULL, hours BLOB NOT NULL,
        body BLOB NOT NULL, sum INTEGER NOT NULL) STRICT""",
    RECORD_TABLE,
    """CREATE VIEW scan_time AS
        SELECT s.id AS scan, r.run AS run, s.id - r.id AS seq,
            c.run_ms + (s.id - c.scan) * c.every_ms + s.late_ms AS run_ms,
            c.utc_ms + (s.id - c.scan) * c.every_ms + s.late_ms + s.skew_ms AS utc_ms,
            c.zone_min AS zone_min, c.clock_ok AS clock_ok,
            c.link_up AS link_up, c.log_ok AS log_ok
        FROM scan s
        JOIN clock c ON c.scan = (SELECT max(scan) FROM clock WHERE scan <= s.id)
        JOIN run r ON r.id = (SELECT max(id) FROM run WHERE id < s.id)""",
    f"""CREATE VIEW sample AS
        SELECT t.run AS run, t.scan AS scan, t.utc_ms AS utc_ms,
            t.run_ms - r.age_ms AS at_ms, p.name AS probe, r.milli AS milli,
            r.quality AS quality
        FROM scan_time t
        JOIN reading r ON r.id >= t.scan * {READINGS_PER_SCAN}
            AND r.id < (t.scan + 1) * {READINGS_PER_SCAN}
        JOIN name p ON p.id = r.probe""",  # noqa: S608
    """CREATE VIEW switching AS
        SELECT t.run AS run, t.scan AS scan, t.utc_ms AS utc_ms, m.name AS mat,
            c.energised AS energised, c.cause AS cause, c.numbers AS numbers
        FROM command c
        JOIN scan_time t ON t.scan = c.scan
        JOIN name m ON m.id = c.mat""",
)

EVENTS = (
    "refusal",
    "relay_report",
    "power_report",
    "request",
    "command",
    "doubt",
    "alarm_change",
    "answer",
)
"""Tables with a row for each thing that happened in a scan, keyed (scan, n)."""

KEPT = ("request", "alarm_change", "answer")
"""Those of them that are never folded."""

FOLDED = tuple(table for table in EVENTS if table not in KEPT)
"""Those that are."""
