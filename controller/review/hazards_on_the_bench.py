"""Hazards on the bench: probes, trays, mats, water and weather. Data.

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
_RESPONSE = (Cause.HEAT_NOT_FELT, Cause.HEATED_TOO_LONG, Cause.DAILY_HEAT_SPENT)
_RESPONSE_ALARMS = (
    AlarmKind.HEAT_NOT_FELT,
    AlarmKind.PROBE_STUCK,
    AlarmKind.HEATED_TOO_LONG,
    AlarmKind.DAILY_HEAT_SPENT,
    AlarmKind.PROBE_DISAGREES,
)

ON_THE_BENCH = (
    Hazard(
        name="probe-slipped-out",
        when="the probe that the mat follows slips out of its tray",
        in_plain_words=(
            "It reads the room, and the mat heats for it. The program counts the heat"
            " it gave; when the probe does not feel it, the mat is locked off until"
            " you reset it, and it tells you."
        ),
        detected="heat is given and the driving probe does not rise with it; or"
        " another tray or the mat's surface reaches its limit",
        then="heat is locked off, alarm",
        bound="below 32 °C; a probe in air nearly as warm as the setpoint: the tray is"
        " kept too warm by that difference",
        thresholds=(Threshold("probe-slips-out", 3, "K colder than the setpoint", 8),),
        causes=(*_RESPONSE, *_TOO_WARM),
        alarms=(*_WARM_ALARMS, *_RESPONSE_ALARMS),
        injected_by=("probe-slips-out",),
    ),
    Hazard(
        name="other-probe-slipped-out",
        when="a probe that only guards slips out of its tray",
        in_plain_words=(
            "The mat goes on by its other probes, and you are told that this one no"
            " longer agrees with them."
        ),
        detected="it differs from the other trays otherwise than it used to",
        then="alarm; the mat is guarded by the rest",
        bound="the tray is not guarded by its own probe; the others are",
        thresholds=(
            Threshold("other-probe-slips-out", 12, "K colder than the setpoint", 8),
        ),
        causes=(*_RESPONSE, *_TOO_WARM),
        alarms=(AlarmKind.PROBE_DISAGREES, *_WARM_ALARMS),
        injected_by=("other-probe-slips-out",),
    ),
    Hazard(
        name="tray-lifted",
        when="a tray is lifted off with its probe and stays off",
        in_plain_words=(
            "It looks like a probe that slipped out, and is treated alike: if the tray"
            " drives the mat, the mat is locked off before its neighbours suffer. Say"
            " `hold` before you lift one, and nothing needs a reset."
        ),
        detected="as probe-slipped-out",
        then="heat is locked off, alarm; with `hold` heat is off meanwhile",
        bound="neighbours stay below 31 °C; the lifted tray cools to the room",
        thresholds=(Threshold("tray-lifted", 6, "h without hold", 8),),
        causes=(*_RESPONSE, *_TOO_WARM),
        alarms=(*_WARM_ALARMS, *_RESPONSE_ALARMS),
        injected_by=("tray-lifted", "tray-lifted-briefly"),
    ),
    Hazard(
        name="probe-on-the-mat",
        when="a probe slides down and touches the mat",
        in_plain_words=(
            "It reads hotter than the roots are. The tray stays too cool; if the"
            " reading reaches a limit, heat waits."
        ),
        detected="over the tray limit; or differing from the other trays",
        then="heat is off at the limit",
        bound="the tray stays cooler than wanted by what the mat's side is warmer;"
        " never hotter",
        causes=_TOO_WARM,
        alarms=(*_WARM_ALARMS, AlarmKind.PROBE_DISAGREES),
        injected_by=("probe-on-mat",),
    ),
    Hazard(
        name="probe-wet",
        when="water creeps into a probe",
        in_plain_words=(
            "It reads hotter and unsteadily: the tray stays too cool, never too hot."
            " From a few degrees on you are told."
        ),
        detected="over a limit, an impossible rate, a rise faster than the mat can, or"
        " differing from the other trays",
        then="heat is off or the alarm rings",
        bound="the tray cools by what the probe reads too much",
        thresholds=(Threshold("probe-wet", 8, "K within two hours", 6),),
        causes=(*_TOO_WARM, Cause.RISES_TOO_FAST, *_NO_ANSWER),
        alarms=(
            *_WARM_ALARMS,
            *_LOST,
            AlarmKind.RISES_TOO_FAST,
            AlarmKind.PROBE_DISAGREES,
            AlarmKind.HEAT_UNASKED,
        ),
        injected_by=("probe-wet",),
    ),
    Hazard(
        name="probe-short",
        when="a probe's wires touch each other",
        in_plain_words="Its reading makes no sense: heat is off, and you are told.",
        detected="out of what a root zone can be",
        then="the reading is not used; heat is off where it drove or was the warmest",
        bound="as warm as the mat's stored heat makes it: below 1 K",
        thresholds=(Threshold("probe-short", 1, "of one class", 0.1),),
        causes=_NO_ANSWER,
        alarms=_LOST,
        injected_by=("probe-short",),
    ),
    Hazard(
        name="probe-open",
        when="a probe's wire breaks, or it is unplugged",
        in_plain_words="Nothing sensible comes from it: heat is off, and you are told.",
        detected="no value, the disconnect value, or silence",
        then="heat is off where it drove or was the warmest",
        bound="as probe-short",
        thresholds=(
            Threshold("probe-open", 1, "of one class", 0.1),
            Threshold("probe-silent", 1, "of one class", 0.1),
            Threshold("probe-refused", 1, "of one class", 0.1),
        ),
        causes=_NO_ANSWER,
        alarms=_LOST,
        injected_by=("probe-open", "probe-silent", "probe-refused"),
    ),
    Hazard(
        name="probe-stuck",
        when="a probe says the same thing over and over",
        in_plain_words=(
            "If it sticks below what you want, the mat would heat for ever: the heat"
            " is not felt, and the mat is locked off. If it sticks above, the tray"
            " goes cold, and you are told."
        ),
        detected="as probe-slipped-out; or differing from the other trays",
        then="heat is locked off, alarm",
        bound="below 32 °C",
        thresholds=(Threshold("probe-stuck-low", 1, "K below the setpoint", 12),),
        causes=(*_RESPONSE, *_TOO_WARM),
        alarms=(*_WARM_ALARMS, *_RESPONSE_ALARMS),
        injected_by=("probe-stuck-low",),
    ),
    Hazard(
        name="probe-drifts",
        when="a probe reads more and more wrong over days",
        in_plain_words=(
            "You are told when it no longer agrees with its neighbours. A mat with a"
            " single probe cannot know, and its tray may become too hot: give it a"
            " second probe, and check probes in ice water at the start of a season."
        ),
        detected="differing from the other trays otherwise than it used to, where there"
        " are others",
        then="alarm; limits hold",
        bound="below 32 °C; a lone probe cannot be found out: 36 °C was reached in 30 h"
        " at 12 K/day",
        thresholds=(Threshold("probe-drifts-low", 12, "K/day", 24),),
        causes=(*_RESPONSE, *_TOO_WARM),
        alarms=(*_WARM_ALARMS, *_RESPONSE_ALARMS),
        injected_by=("probe-drifts-low", "probe-drifts-high"),
    ),
    Hazard(
        name="probe-jumps",
        when="a probe suddenly reads several degrees wrong",
        in_plain_words=(
            "One odd reading is left out. If it stays, it reads too cold and heat is"
            " not felt, or too warm and the limit stops the mat; you are told."
        ),
        detected="as probe-slipped-out; over a limit; or differing from other trays",
        then="heat is off or locked off, alarm",
        bound="the tray is off by the step; a lone probe that jumps cannot be told from"
        " cold water, and its tray is kept too warm by the step",
        thresholds=(
            Threshold("probe-jumps-low", 6, "K", 12),
            Threshold("probe-jumps-high", 6, "K", 1),
        ),
        causes=(*_RESPONSE, *_TOO_WARM, Cause.RISES_TOO_FAST),
        alarms=(
            *_WARM_ALARMS,
            *_RESPONSE_ALARMS,
            AlarmKind.RISES_TOO_FAST,
            AlarmKind.HEAT_UNASKED,
        ),
        injected_by=("probe-jumps-low", "probe-jumps-high"),
    ),
    Hazard(
        name="probe-sentinel",
        when="a probe says 85, 127.94 or -127 °C because it did not measure",
        in_plain_words="That is never taken for a temperature: heat is off.",
        detected="these values of one-wire probes",
        then="the reading is not used; heat is off where it drove or was the warmest",
        bound="as probe-short",
        thresholds=(
            Threshold("power-up-value", 1, "of one class", 0.1),
            Threshold("low-power-value", 1, "of one class", 0.1),
            Threshold("disconnected-value", 1, "of one class", 0.1),
        ),
        causes=_NO_ANSWER,
        alarms=_LOST,
        injected_by=("power-up-value", "low-power-value", "disconnected-value"),
    ),
    Hazard(
        name="probes-swapped",
        when="two probes are put back into each other's trays",
        in_plain_words=(
            "On one mat the trays are off by their difference; the hottest still"
            " guards. Between two mats the heat is not felt where it is given, and"
            " the mat is locked off."
        ),
        detected="between mats: heat is not felt, or a limit; on one mat: none needed",
        then="heat is locked off, alarm",
        bound="on one mat: the difference between its trays",
        thresholds=(Threshold("probes-swapped-between-mats", 1, "of one class", 12),),
        causes=(*_RESPONSE, *_TOO_WARM, Cause.RISES_TOO_FAST),
        alarms=(
            *_WARM_ALARMS,
            *_RESPONSE_ALARMS,
            AlarmKind.HEAT_UNASKED,
            AlarmKind.RISES_TOO_FAST,
        ),
        injected_by=("probes-swapped", "probes-swapped-between-mats"),
    ),
    Hazard(
        name="fahrenheit-as-celsius",
        when="a probe sends °F and the configuration says °C",
        in_plain_words=(
            "It reads far too hot: heat is off at once, and locked off at the second"
            " reading."
        ),
        detected="an impossible jump, then over the cut-out; or out of range",
        then="heat is locked off, alarm",
        bound="the tray cools; never hotter",
        thresholds=(Threshold("probe-fahrenheit", 1, "of one class", 0.1),),
        causes=(*_TOO_WARM, *_NO_ANSWER),
        alarms=(*_WARM_ALARMS, *_LOST),
        injected_by=("probe-fahrenheit",),
    ),
    Hazard(
        name="mat-dead",
        when="a mat is unplugged or burnt out",
        in_plain_words=(
            "The tray goes cold. With a wattmeter you are told within a minute; without"
            " one, when the heat that should have come is not felt."
        ),
        detected="no power while on; else heat is not felt",
        then="alarm; nothing to switch off",
        bound="the tray cools to the room",
        thresholds=(Threshold("mat-dead", 1, "of one class", 18),),
        causes=_RESPONSE,
        alarms=(AlarmKind.MAT_DEAD, AlarmKind.TRIP, *_RESPONSE_ALARMS),
        injected_by=("mat-dead",),
    ),
    Hazard(
        name="sun-or-lamp",
        when="sun or a lamp heats a tray above its limit",
        in_plain_words=(
            "The mat is off already, and you are told that the heat comes from above:"
            " shade or air it. Nothing is locked."
        ),
        detected="over a limit while the mat has long been off",
        then="heat stays off, alarm, no lock",
        bound="as hot as the sun makes it: no software can cool; a bin deeper than"
        " 100 mm stays below every limit",
        thresholds=(Threshold("sun", 600, "W/m² for 4 h", 6),),
        causes=_TOO_WARM,
        alarms=_WARM_ALARMS,
        injected_by=("sun",),
    ),
    Hazard(
        name="hot-room",
        when="the room is hotter than what you want for the roots",
        in_plain_words="The mat stays off. Above a limit you are told.",
        detected="over a limit while the mat has long been off",
        then="no heat is asked for; alarm at a limit",
        bound="as hot as the room",
        thresholds=(Threshold("room-hotter", 26, "K warmer for 12 h", 14),),
        causes=_TOO_WARM,
        alarms=_WARM_ALARMS,
        injected_by=("room-hotter",),
    ),
    Hazard(
        name="medium-dry",
        when="the medium dries out",
        in_plain_words=(
            "Dry medium warms faster and carries less: the hottest probe and the"
            " mat's surface still stop the heat."
        ),
        detected="no fault by itself; limits as always",
        then="regulation goes on",
        bound="warmer by 1 K at most",
        injected_by=("medium-dries",),
    ),
    Hazard(
        name="freshly-watered",
        when="you water with cold water, or leave the door open",
        in_plain_words=(
            "A sudden drop is not a fault: the mat heats it up again, gently."
        ),
        detected="not taken for a fault",
        then="regulation goes on; no lock, no alarm",
        bound="the drop itself, and less than 1 K of overshoot after it",
        injected_by=("watered", "door-opened"),
    ),
    Hazard(
        name="drops",
        when="drops fall from the cover into plugs, or run along a cable",
        in_plain_words=(
            "No program can know. Lay cables with a drip loop below the socket, keep"
            " plugs and boxes above splashes, and feed them through an RCD or GFCI."
        ),
        detected="not at all",
        then="nothing",
        bound="not a matter of temperature",
        advice_only=True,
    ),
)
