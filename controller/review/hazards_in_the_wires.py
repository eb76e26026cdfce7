"""Hazards behind the bench: relays, broker, clocks, disk, daemon, settings. Data.

What may live here: rows of the table of hazards. Severities and times are
those that the fault campaign holds the controller to.
"""

from controller.core.decisions import AlarmKind, Cause
from controller.review.hazards import Hazard, Threshold

_NO_ANSWER = (Cause.NO_DRIVING_READING, Cause.WARMEST_LOST, Cause.AWAITING_READINGS)
_LOST = (
    AlarmKind.PROBE_LOST,
    AlarmKind.PROBE_IMPLAUSIBLE,
    AlarmKind.NO_DRIVING_READING,
    AlarmKind.WARMEST_LOST,
)
_TOO_WARM = (
    Cause.OVER_TRAY_LIMIT,
    Cause.OVER_CUTOUT,
    Cause.OVER_SURFACE_LIMIT,
    Cause.OVER_SURFACE_CUTOUT,
    Cause.HEAT_FROM_ABOVE,
    Cause.DOUBTFUL_HOT,
)
_WARM_ALARMS = (
    AlarmKind.TRIP,
    AlarmKind.OVER_LIMIT,
    AlarmKind.HEAT_FROM_ABOVE,
    AlarmKind.ROOT_ZONE_WARM,
)
_NO_HEAT_FELT = (Cause.HEAT_NOT_FELT, Cause.HEATED_TOO_LONG, Cause.DAILY_HEAT_SPENT)
_FELT_ALARMS = (
    AlarmKind.HEAT_NOT_FELT,
    AlarmKind.HEATED_TOO_LONG,
    AlarmKind.DAILY_HEAT_SPENT,
)
_RELAY = (AlarmKind.RELAY_DISAGREES, AlarmKind.RELAY_SILENT)

_LOG = "tests/log/test_season_log_writer.py::"
_BAD_LOG = "tests/log/test_malformed_logs.py::"
_TRIPS = "tests/log/test_trip_file.py::"
_BROKER = "tests/contract/test_mqtt_failures.py::"
_DAEMON = "tests/daemon/test_daemon.py::"
_RULES = "tests/core/test_plan_rules.py::"
_REFUSED = "tests/settings/test_refusals.py::"

IN_THE_WIRES = (
    Hazard(
        name="relay-stuck-on",
        when="a relay's contact welds shut",
        in_plain_words=(
            "No command can open it: you are told at once if the relay or a wattmeter"
            " says so, else when the roots warm although the mat should be off. Only"
            " the plug, or your second thermostat, ends it."
        ),
        detected="its report, its power, warmth that nobody asked for, a limit",
        then="alarm, again and again; off is repeated every scan",
        bound="as hot as the mat makes it: software cannot act",
        thresholds=(Threshold("relay-stuck-on", 1, "of one class", 4),),
        causes=(*_TOO_WARM, Cause.RISES_TOO_FAST),
        alarms=(
            *_RELAY,
            AlarmKind.POWER_UNASKED,
            AlarmKind.HEAT_UNASKED,
            AlarmKind.RISES_TOO_FAST,
            *_WARM_ALARMS,
        ),
        injected_by=("relay-stuck-on", "relay-stuck-on-silently"),
    ),
    Hazard(
        name="relay-stuck-off",
        when="a relay no longer switches on",
        in_plain_words="The tray goes cold, and you are told.",
        detected="its report, no power while on, or heat is not felt",
        then="alarm; nothing to switch off",
        bound="the tray cools to the room",
        thresholds=(
            Threshold("relay-stuck-off", 1, "of one class", 18),
            Threshold("relay-stuck-off-silently", 1, "of one class", 18),
        ),
        causes=_NO_HEAT_FELT,
        alarms=(*_RELAY, AlarmKind.MAT_DEAD, AlarmKind.TRIP, *_FELT_ALARMS),
        injected_by=("relay-stuck-off", "relay-stuck-off-silently"),
    ),
    Hazard(
        name="relay-node-lost",
        when="the relay's own board loses power or its network",
        in_plain_words=(
            "A lease relay drops out within three scans. You are told when it no longer"
            " answers, or when its heat is not felt."
        ),
        detected="no report after a command, no power while on, or heat is not felt",
        then="alarm; a lease relay is off by itself",
        bound="the tray cools; a plain relay stays as it was: set its auto-off timer",
        thresholds=(
            Threshold("relay-lost", 1, "of one class", 18),
            Threshold("relay-cut-off", 1, "of one class", 18),
        ),
        causes=(*_NO_HEAT_FELT, *_TOO_WARM),
        alarms=(
            *_RELAY,
            AlarmKind.MAT_DEAD,
            AlarmKind.POWER_UNASKED,
            AlarmKind.HEAT_UNASKED,
            *_FELT_ALARMS,
            *_WARM_ALARMS,
        ),
        injected_by=("relay-lost", "relay-cut-off"),
    ),
    Hazard(
        name="broker-lost",
        when="the broker, or the network to it, is gone",
        in_plain_words=(
            "Nothing can be told: lease relays drop out within three scans, the"
            " program waits, and heat comes back by itself with good readings."
        ),
        detected="the link is down for longer than a lease",
        then="heat is off, alarm",
        bound="the tray cools; a plain relay stays as it was",
        thresholds=(Threshold("broker-lost", 5, "min", 0.05),),
        causes=(Cause.LINK_DOWN, *_NO_ANSWER),
        alarms=(AlarmKind.LINK_DOWN,),
        injected_by=(
            "broker-lost",
            _BROKER + "test_a_frozen_broker_is_noticed_by_the_heartbeat",
        ),
    ),
    Hazard(
        name="network-split",
        when="readings still come, but commands no longer reach the relays",
        in_plain_words=(
            "Lease relays drop out within three scans. You are told by the relay's"
            " report, or when the heat is not felt."
        ),
        detected="the relay's report, no power while on, or heat is not felt",
        then="alarm; a lease relay is off by itself",
        bound="the tray cools; a plain relay stays as it was",
        thresholds=(Threshold("network-split", 18, "h", 18),),
        causes=(*_NO_HEAT_FELT, *_TOO_WARM),
        alarms=(
            *_RELAY,
            AlarmKind.MAT_DEAD,
            AlarmKind.POWER_UNASKED,
            AlarmKind.HEAT_UNASKED,
            *_FELT_ALARMS,
            *_WARM_ALARMS,
        ),
        injected_by=("network-split",),
    ),
    Hazard(
        name="broker-restarts",
        when="the broker restarts and gives out old messages",
        in_plain_words=(
            "What it had kept is never taken for a reading of now, and never switches"
            " on. Heat comes back with fresh readings."
        ),
        detected="kept messages, and the first of a probe, are uncertain",
        then="they inhibit and never clear; heat waits for good ones",
        bound="less than a minute without heat",
        injected_by=("broker-restarts", "kept-value"),
    ),
    Hazard(
        name="messages-late",
        when="messages come late",
        in_plain_words="A late reading is not used; heat is off until a fresh one.",
        detected="older than the stale time by its own time",
        then="heat is off where it drove or was the warmest",
        bound="without a time of its own a message is as good as new: the tray swings"
        " by what it does in that delay",
        thresholds=(Threshold("messages-late", 5, "min, with their own time", 0.3),),
        causes=_NO_ANSWER,
        alarms=_LOST,
        injected_by=("messages-late", "messages-late-unstamped"),
    ),
    Hazard(
        name="messages-doubled",
        when="messages come twice or in the wrong order",
        in_plain_words="Each counts once, and the newest counts.",
        detected="not newer than what is known",
        then="left out; regulation goes on",
        bound="none",
        injected_by=("messages-doubled", "messages-reordered"),
    ),
    Hazard(
        name="clock-jumps",
        when="the board's clock jumps, or summer time begins",
        in_plain_words=(
            "Times and degree-hours are measured by a clock that never jumps; only the"
            " night's setpoint follows the clock on the wall."
        ),
        detected="not needed",
        then="regulation goes on",
        bound="none",
        injected_by=("clock-forward", "clock-back", "summer-time"),
    ),
    Hazard(
        name="clock-unknown",
        when="a board without a clock starts at the wrong time",
        in_plain_words="Night setpoints wait until the time is known to be right.",
        detected="the kernel says that its clock is not set",
        then="regulation goes on by day's setpoints",
        bound="day's setpoint at night",
        injected_by=("clock-unknown",),
    ),
    Hazard(
        name="daemon-killed",
        when="the program is killed, crashes, or the board runs out of memory",
        in_plain_words=(
            "Lease relays drop out within three scans, plain ones are told off by the"
            " broker. After the restart the program knows what was locked off, and"
            " heats when good readings come."
        ),
        detected="nobody renews the lease; the broker's last will",
        then="heat is off; the new run begins cold",
        bound="the tray cools until the restart",
        injected_by=(
            "daemon-restarts",
            _BROKER + "test_a_controller_that_is_killed_is_declared_dead_by_the_broker",
        ),
    ),
    Hazard(
        name="daemon-hangs",
        when="the program hangs",
        in_plain_words=(
            "Lease relays drop out within three scans; a watchdog restarts the program."
        ),
        detected="nobody renews the lease; the watchdog is not fed",
        then="heat is off",
        bound="the tray cools until the restart",
        injected_by=(
            "daemon-hangs",
            _DAEMON + "test_the_watchdog_is_fed_by_finished_scans",
            "tests/daemon/test_parts_that_end.py::"
            "test_a_scan_that_hangs_does_not_feed_the_watchdog",
        ),
    ),
    Hazard(
        name="disk-fails",
        when="the disk is full, read-only or broken",
        in_plain_words=(
            "You are told, and the mat goes on as before; the log is written when the"
            " disk takes it again. If you asked for it, the mat goes cold instead."
        ),
        detected="a commit fails or takes longer than 2 s",
        then="alarm; heat goes on or off, as configured",
        bound="none",
        thresholds=(Threshold("log-fails", 1, "of one class", 0.01),),
        causes=(Cause.LOG_FAILED,),
        alarms=(AlarmKind.LOG_FAILED,),
        injected_by=(
            "log-fails",
            _LOG + "test_what_the_disk_refused_is_written_in_order_when_it_takes_it",
            _LOG + "test_a_start_on_a_disk_that_refuses_is_no_error_but_ill_health",
            _DAEMON
            + "test_a_failing_log_keeps_a_bench_cold_that_shall_not_heat_without_it",
        ),
    ),
    Hazard(
        name="log-corrupt",
        when="the season log is damaged",
        in_plain_words=(
            "It is set aside under another name, with nothing deleted, a new one is"
            " begun, and you are told; what was locked off is also kept elsewhere and"
            " stays locked off."
        ),
        detected="at the start, by its check numbers and a look at every page; or when"
        " it is written",
        then="set aside, alarm; a new log, a cold start, trips as before",
        bound="as after a restart",
        alarms=(AlarmKind.LOG_SET_ASIDE,),
        injected_by=(
            _BAD_LOG + "test_a_log_that_was_cut_short_is_damaged",
            _BAD_LOG
            + "test_a_page_of_rubbish_is_an_error_or_harmless_never_other_data",
            "tests/cli/test_opening.py::"
            "test_a_damaged_log_is_set_aside_and_a_new_one_begun",
            _TRIPS + "test_trips_come_back_from_another_process_exactly",
        ),
    ),
    Hazard(
        name="configuration-changed",
        when="somebody changes the configuration while the program runs",
        in_plain_words=(
            "Nothing changes until you start it anew; then a new run begins."
        ),
        detected="it is read once, at the start",
        then="regulation goes on by the plan of the run",
        bound="none",
        injected_by=(
            "tests/core/test_resume.py::"
            "test_what_the_plan_no_longer_has_is_dropped_and_what_is_new_is_fresh",
        ),
    ),
    Hazard(
        name="mistyped",
        when="a setpoint or a limit is mistyped",
        in_plain_words=(
            "A number without its unit, or one that would cook cuttings, is refused at"
            " once with what would be right."
        ),
        detected="every value has a unit and bounds",
        then="refused; the plan stays as it was",
        bound="within the bounds: as far as a person asks, 3 K below the cut-out at"
        " most",
        injected_by=(
            _RULES + "test_a_setpoint_stays_frost_free_and_below_the_cutout",
            _RULES + "test_a_bound_refuses_what_lies_beyond_and_takes_what_lies_on_it",
            _REFUSED + "test_a_malformed_configuration_is_refused_in_a_whole_sentence",
        ),
    ),
    Hazard(
        name="two-daemons",
        when="the program is started twice for one bench",
        in_plain_words=(
            "On one board the second is refused and told who the first is; on two"
            " boards the younger one ends before it has switched anything."
        ),
        detected="a lock beside the season log; a word of each on the broker",
        then="the second does not start, or ends cold with status 4",
        bound="none",
        injected_by=(
            _LOG + "test_a_writer_in_another_process_is_refused",
            "tests/contract/test_two_controllers.py::"
            "test_the_younger_one_ends_before_it_has_told_the_relay_anything",
        ),
    ),
)
