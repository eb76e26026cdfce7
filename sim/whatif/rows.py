"""Where the numbers of a candidate lie in a block of candidates.

A row is one quantity of all lanes of a block, and the names here are where rows
begin in three flat arrays: of the mats, of their zones, and of the zones' last
readings. The latter is of half the width, which holds what probes can say, and
sums of a few of them, exactly. Truths are 0 or 1, times are ms of the run clock,
temperatures m°C. What may live here: this layout.
"""

LANES = 64

FAR = 0xFFFFF
"""A mask of rows: a compiler that sees no index below 0 asks for none, and does
eight lanes at once."""

# the candidate's plan
LOW_BY = 0 * LANES  # Half the differential, down [mK].
DIFFERENTIAL = 1 * LANES  # [mK]
MIN_ON = 2 * LANES  # [ms]
MIN_OFF = 3 * LANES  # [ms]
RAMP = 4 * LANES  # [mK/h]; below 0: none
TRAY_LIMIT = 5 * LANES  # [mK]
CUTOUT = 6 * LANES  # [m°C]
SURFACE_LIMIT = 7 * LANES  # [m°C]
SURFACE_CUTOUT = 8 * LANES  # [m°C]
SETTLE = 9 * LANES  # [ms]
HALF_ALLOWANCE = 10 * LANES  # [mK]
MOST_RISE = 11 * LANES  # [mK]
RISE_LIMIT = 12 * LANES  # [mK]
LONGEST_ON = 13 * LANES  # [ms]
DAILY_ON = 14 * LANES  # [ms]
ALLOWANCE = 15 * LANES  # Full heat for the heat allowance [ms]
LAG = 16 * LANES  # [ms]
STUCK_AFTER = 17 * LANES  # [ms]
GAIN = 18 * LANES  # [1/K]
GAIN_PER_S = 19 * LANES  # Gain over integral time [1/(K s)]
INTEGRAL_S = 20 * LANES  # [s]
GAIN_BY_RATE = 21 * LANES  # Gain times derivative time [s/K]
DERIVATIVE_S = 22 * LANES  # [s]
CYCLE = 23 * LANES  # [ms]
TRACKING = 24 * LANES  # share of a usual step in the tracking time
FILTER = 25 * LANES  # the same in the derivative filter

PARAMETERS = 26

# what the core's state holds, as far as it decides here
SETPOINT = 26 * LANES  # in force [m°C]
SETPOINT_C = 27 * LANES  # the same [°C]
LOW = 28 * LANES  # on below [m°C]
HIGH = 29 * LANES  # off above [m°C]
HOT_LINE = 30 * LANES  # no limit acts on a tray below [m°C]
SURFACE_LINE = 31 * LANES  # nor on a surface below [m°C]
NEXT = 32 * LANES  # step at which the setpoint may change
TARGET = 33 * LANES  # index of the present target
RAMP_FROM = 34 * LANES
RAMP_AT = 35 * LANES
RAMP_TO = 36 * LANES
LIMIT_FROM = 37 * LANES
LIMIT_AT = 38 * LANES
LIMIT_TO = 39 * LANES
ON = 40 * LANES  # the relay is on
SINCE = 41 * LANES  # [ms]
ON_MS = 42 * LANES  # time on up to SINCE [ms]
SWITCHES = 43 * LANES
MEAN_DUTY = 44 * LANES  # up to SINCE
DEMAND = 45 * LANES
PID_HAS = 46 * LANES
PID_AT = 47 * LANES
PID_INTEGRAL = 48 * LANES
PID_SETPOINT = 49 * LANES
PID_FILTERED = 50 * LANES
PID_DUTY = 51 * LANES
CYCLE_HAS = 52 * LANES
CYCLE_START = 53 * LANES
CYCLE_ON = 54 * LANES
CYCLE_CARRY = 55 * LANES
ROOT = 56 * LANES  # driving temperature [m°C]
HOT = 57 * LANES  # hottest tray [m°C]
SURFACE_HOT = 58 * LANES  # hottest surface [m°C]
SUM = 59 * LANES  # of the trays, a scratch row
CLIMB_AT = 60 * LANES
CLIMB_FROM = 61 * LANES
CLIMB_UNTIL = 62 * LANES  # -1: it did not climb too fast
REST_UNTIL = 63 * LANES  # -1: no rest
SPENT = 64 * LANES
MARK = 65 * LANES  # time on a day ago [ms]
WATCH = 66 * LANES  # protect must look at every scan
NEED = 67 * LANES  # this scan decides something
RATE = 68 * LANES  # of the filtered temperature [K/s], a scratch row
FILTERED = 69 * LANES  # the temperature itself, too
OTHER = 70 * LANES  # a PID that does not go on as usual
UP_SINCE = 71 * LANES
UP_FROM = 72 * LANES
UP_PROVEN = 73 * LANES
UP_ON = 74 * LANES
UP_EXCESS = 75 * LANES
UP_LOWEST = 76 * LANES
UP_COOLED = 77 * LANES
UP_ROOM = 78 * LANES
UP_MARK_AT = 79 * LANES
UP_MARK_FROM = 80 * LANES
UP_FELL = 81 * LANES
UP_MISSED = 82 * LANES
FROZEN = 83 * LANES
ALIKE_MOST = 84 * LANES  # most samples in a row in which a probe stood still
STRANGE = 85 * LANES  # the core must do it
TRIP = 86 * LANES  # -1: none
TRIP_AT = 87 * LANES
COUNTED_AT = 88 * LANES  # step of the last count over the cut-outs
DRIVING_IN_BAND = 89 * LANES
DAY_ON = 90 * LANES  # on at midnight
LOOKED = 91 * LANES  # when the guards last looked: the same for all lanes, in the first
MARKED = 92 * LANES  # when they last kept the time on, as well
MARKED_TIMES = 93 * LANES  # how often they have, as well
WARM = 94 * LANES  # scans since it was warm
SQUARED = 95 * LANES  # of the driving temperature less the setpoint [mK²]
APART = 96 * LANES  # of the warmest tray less the coolest [mK]
COOL = 97 * LANES  # coolest tray [m°C]

MARKS = 98 * LANES  # time on at the last full hours, the oldest first
MARK_ROWS = 25
REFUSED = 123 * LANES  # steps refused, by cause
ROWS = 137 * LANES

# of a zone, in an array of their own
Z0 = 0 * LANES
Z1 = 1 * LANES
PEAK = 2 * LANES
HEAT = 3 * LANES
FIX = 4 * LANES
IN_BAND = 5 * LANES
LEAST = 6 * LANES  # lowest reading since it was warm
BASE = 7 * LANES
UPPER = 8 * LANES
SAME_SINCE = 9 * LANES
SAMPLE = 10 * LANES
ALIKE = 11 * LANES
OVER = 12 * LANES
ZONE = 13 * LANES  # from zone to zone

# of the last readings, in a third array
KEPT = 8  # scans
LAST = KEPT - 1
BAND_FROM = 0 * LANES  # in band from, a row for each scan
BAND_TO = 8 * LANES  # in band up to
SHUT = 16 * LANES  # higher than any reading until the lane is warm, then lower
PAD_LOW = 24 * LANES  # colder than anything
PAD_HIGH = 25 * LANES  # warmer than anything
READ = 26 * LANES  # the first zone's readings, a row for each scan
READS = 8 * LANES  # from zone to zone
