"""Where the numbers of a candidate lie in a block of candidates.

A row is one quantity of all lanes of a block, and the names here are where rows
begin in four flat arrays: of the mats and of their zones, each once more for what is
of half the width, which goes through a processor twice as fast: whole numbers that it
holds exactly, as what probes can say, sums of a few of that, and truths. Truths are 0
or 1, times are ms of the run clock, temperatures m°C. What may live here: this layout.

A compiler that does many lanes at once must know that what it writes is not what it
reads next: rows that lie a known way apart in one array, or arrays of their own.
"""

LANES = 64
"""As many as a word has bits: truths of all lanes are looked at together."""

FAR = 0xFFFFF
"""A mask of rows: a compiler that sees no index below 0 asks for none, and does
eight lanes at once."""

# the candidate's plan
MIN_ON = 0 * LANES  # [ms]
MIN_OFF = 1 * LANES  # [ms]
RAMP = 2 * LANES  # [mK/h]; below 0: none
TRAY_LIMIT = 3 * LANES  # [mK]
CUTOUT = 4 * LANES  # [m°C]
SURFACE_LIMIT = 5 * LANES  # [m°C]
SURFACE_CUTOUT = 6 * LANES  # [m°C]
SETTLE = 7 * LANES  # [ms]
LONGEST_ON = 8 * LANES  # [ms]
DAILY_ON = 9 * LANES  # [ms]
ALLOWANCE = 10 * LANES  # Full heat for the heat allowance [ms]
LAG = 11 * LANES  # [ms]
STUCK_AFTER = 12 * LANES  # [ms]
GAIN = 13 * LANES  # [1/K]
GAIN_PER_S = 14 * LANES  # Gain over integral time [1/(K s)]
INTEGRAL_S = 15 * LANES  # [s]
GAIN_BY_RATE = 16 * LANES  # Gain times derivative time [s/K]
DERIVATIVE_S = 17 * LANES  # [s]
CYCLE = 18 * LANES  # [ms]
TRACKING = 19 * LANES  # share of a usual step in the tracking time
FILTER = 20 * LANES  # the same in the derivative filter
LOW_BY = 21 * LANES  # Half the differential, down [mK].
DIFFERENTIAL = 22 * LANES  # [mK]
HALF_ALLOWANCE = 23 * LANES  # [mK]
MOST_RISE = 24 * LANES  # [mK]
RISE_LIMIT = 25 * LANES  # [mK]

PARAMETERS = 26

# what the core's state holds, as far as it decides here
SETPOINT_C = 26 * LANES  # the same [°C]
NEXT = 27 * LANES  # step at which the setpoint may change
TARGET = 28 * LANES  # index of the present target
RAMP_FROM = 29 * LANES
RAMP_AT = 30 * LANES
RAMP_TO = 31 * LANES
LIMIT_FROM = 32 * LANES
LIMIT_AT = 33 * LANES
LIMIT_TO = 34 * LANES
SINCE = 35 * LANES  # [ms]
ON_MS = 36 * LANES  # time on up to SINCE [ms]
SWITCHES = 37 * LANES
MEAN_DUTY = 38 * LANES  # up to SINCE
PID_HAS = 39 * LANES
PID_AT = 40 * LANES
PID_INTEGRAL = 41 * LANES
PID_SETPOINT = 42 * LANES
PID_FILTERED = 43 * LANES
PID_DUTY = 44 * LANES
CYCLE_HAS = 45 * LANES
CYCLE_START = 46 * LANES
CYCLE_ON = 47 * LANES
CYCLE_CARRY = 48 * LANES
CLIMB_UNTIL = 49 * LANES  # -1: it did not climb too fast
REST_UNTIL = 50 * LANES  # -1: no rest
SPENT = 51 * LANES
MARK = 52 * LANES  # time on a day ago [ms]
RATE = 53 * LANES  # of the filtered temperature [K/s], a scratch row
FILTERED = 54 * LANES  # the temperature itself, too
OTHER = 55 * LANES  # a PID that does not go on as usual
UP_SINCE = 56 * LANES
UP_ON = 57 * LANES
UP_EXCESS = 58 * LANES
UP_MARK_AT = 59 * LANES
HEATED_TO = 60 * LANES  # time on when ceilings were last lifted [ms]
STRANGE = 61 * LANES  # the core must do it
TRIP = 62 * LANES  # -1: none
TRIP_AT = 63 * LANES
COUNTED_AT = 64 * LANES  # step of the last count over the cut-outs
DAY_ON = 65 * LANES  # on at midnight
WARM_FROM = 66 * LANES  # scan at which it was first warm
SQUARED = 67 * LANES  # of the driving temperature less the setpoint [mK²]
APART = 68 * LANES  # of the warmest tray less the coolest [mK]

# of the whole block, in the first lane
LOOKED = 69 * LANES  # when the guards last looked
MARKED = 69 * LANES + 1  # when they last kept the time on
MARKED_TIMES = 69 * LANES + 2  # how often they have
BUDGET_AT = 69 * LANES + 3  # before this no heat can have lasted too long
ALERT = 69 * LANES + 4  # lanes at which protect must look, or that climb
OPENED = 69 * LANES + 5  # the last scan at which a lane was first warm
SPARED = 69 * LANES + 6  # since when heat felt has a ceiling [scan]; -1: it has none
TOGETHER = 69 * LANES + 7  # when all PIDs computed; -1: each at its own time

MARKS = 70 * LANES  # time on at the last full hours, the oldest first
MARK_ROWS = 25
REFUSED = 95 * LANES  # steps refused, by cause
ROWS = 109 * LANES

# of a zone, in an array of their own
HEAT = 0 * LANES
FIX = 1 * LANES
BASE = 2 * LANES
UPPER = 3 * LANES
SAME_SINCE = 4 * LANES
OVER = 5 * LANES
ZONE = 6 * LANES  # from zone to zone

# its modes, of half the width, in an array of their own
Z0 = 0 * LANES
Z1 = 1 * LANES
Z2 = 2 * LANES
MODES = 3 * LANES  # from zone to zone

# of the mats, of half the width
KEPT = 8  # scans
LAST = KEPT - 1
OFTEN = 127  # and one more: so many, each below 131 K or °C, are summed up exactly
AIM = 0 * LANES  # setpoint, a row for each scan
SETPOINT = 8 * LANES  # in force [m°C]
LOW = 9 * LANES  # on below [m°C]
HIGH = 10 * LANES  # off above [m°C]
HOT_LINE = 11 * LANES  # no limit acts on a tray below [m°C]
SURFACE_LINE = 12 * LANES  # nor on a surface below [m°C]
ON = 13 * LANES  # the relay is on
DEMAND = 14 * LANES
ROOT = 15 * LANES  # driving temperature [m°C]
HOT = 16 * LANES  # hottest tray [m°C]
DRIVING_IN_BAND = 17 * LANES  # scans
SURFACE_HOT = 18 * LANES  # hottest surface [m°C]
SUM = 19 * LANES  # of the trays
APART_LATELY = 20 * LANES  # APART since it was put to the rest of it [mK]
WATCH = 21 * LANES  # protect must look at every scan
LATE = 22 * LANES  # heat enough for a rise was given
CLIMB_AT = 23 * LANES  # scan
CLIMB_FROM = 24 * LANES
CLIMB_BY = 25 * LANES  # RISE_LIMIT [mK]
CLIMBING = 26 * LANES  # too fast just now
MOST_DUE = 27 * LANES  # MOST_RISE [mK]
HALF_DUE = 28 * LANES  # HALF_ALLOWANCE [mK]
UP_FROM = 29 * LANES
UP_PROVEN = 30 * LANES
UP_LOWEST = 31 * LANES
UP_COOLED = 32 * LANES
UP_ROOM = 33 * LANES
UP_MARK_FROM = 34 * LANES
UP_FELL = 35 * LANES
UP_MISSED = 36 * LANES
UP_ANEW = 37 * LANES  # heat was felt just now: 1, at the setpoint: 2
FROZEN = 38 * LANES
CEILING = 39 * LANES  # no more heat was given beyond the usual [ms]
USUAL = 40 * LANES  # at least, of a step [ms]
ALLOWED = 41 * LANES  # ALLOWANCE [ms]
GIVEN = 42 * LANES  # the same since heat was felt, or later [ms]
STILL_MOST = 43 * LANES  # most of a lane's probes
NEXT_ACT = 44 * LANES  # scan before which a cycle asks for nothing
DOUBTED = 45 * LANES  # its ceiling may reach its allowance
HEATED = 46 * LANES  # time on in the looks before that [ms]
HALVES = 47 * LANES

# of the zones, of half the width
PAD_LOW = 0 * LANES  # colder than anything
PAD_HIGH = 1 * LANES  # warmer than anything
OFF = 2 * LANES  # driving temperature less the setpoint, a row for each scan
SPREAD = 10 * LANES  # warmest tray less the coolest, a row for each scan
READ = 18 * LANES  # the first zone's readings, a row for each scan

PEAK = 8 * LANES  # of a zone, from its readings on
LEAST = 9 * LANES  # lowest reading since it was warm
IN_BAND = 10 * LANES
STILL = 11 * LANES  # windows in a row in which it may have stood still
STILL_AT = 12 * LANES  # the last of them, in the first lane
TOTAL = 13 * LANES  # of the readings since it was put to the rest of them
READS = 14 * LANES  # from zone to zone
