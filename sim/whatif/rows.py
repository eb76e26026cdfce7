"""Where the numbers of a candidate lie in a block of candidates.

A block is one flat array; a row of it is one quantity of all its lanes, and
the names here are where rows begin. Truths are 0 or 1, times are ms of the run
clock, temperatures m°C. What may live here: this layout.
"""

LANES = 64

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

PARAMETERS = 24

# what the core's state holds, as far as it decides here
SETPOINT = 24 * LANES  # in force [m°C]
SETPOINT_C = 25 * LANES  # the same [°C]
LOW = 26 * LANES  # on below [m°C]
HIGH = 27 * LANES  # off above [m°C]
HOT_LINE = 28 * LANES  # no limit acts on a tray below [m°C]
SURFACE_LINE = 29 * LANES  # nor on a surface below [m°C]
NEXT = 30 * LANES  # step at which the setpoint may change
TARGET = 31 * LANES  # index of the present target
RAMP_FROM = 32 * LANES
RAMP_AT = 33 * LANES
RAMP_TO = 34 * LANES
LIMIT_FROM = 35 * LANES
LIMIT_AT = 36 * LANES
LIMIT_TO = 37 * LANES
ON = 38 * LANES  # the relay is on
SINCE = 39 * LANES  # [ms]
ON_MS = 40 * LANES  # time on up to SINCE [ms]
SWITCHES = 41 * LANES
MEAN_DUTY = 42 * LANES  # up to SINCE
DEMAND = 43 * LANES
PID_HAS = 44 * LANES
PID_AT = 45 * LANES
PID_INTEGRAL = 46 * LANES
PID_SETPOINT = 47 * LANES
PID_FILTERED = 48 * LANES
PID_DUTY = 49 * LANES
CYCLE_HAS = 50 * LANES
CYCLE_START = 51 * LANES
CYCLE_ON = 52 * LANES
CYCLE_CARRY = 53 * LANES
ROOT = 54 * LANES  # driving temperature [m°C]
HOT = 55 * LANES  # hottest tray [m°C]
SURFACE_HOT = 56 * LANES  # hottest surface [m°C]
SUM = 57 * LANES  # of the trays, a scratch row
CLIMB_AT = 58 * LANES
CLIMB_FROM = 59 * LANES
CLIMB_UNTIL = 60 * LANES  # -1: it did not climb too fast
REST_UNTIL = 61 * LANES  # -1: no rest
SPENT = 62 * LANES
MARK = 63 * LANES  # time on a day ago [ms]
WATCH = 64 * LANES  # protect must look at every scan
NEED = 65 * LANES  # this scan decides something
UP_SINCE = 66 * LANES
UP_FROM = 67 * LANES
UP_PROVEN = 68 * LANES
UP_ON = 69 * LANES
UP_EXCESS = 70 * LANES
UP_LOWEST = 71 * LANES
UP_COOLED = 72 * LANES
UP_ROOM = 73 * LANES
UP_MARK_AT = 74 * LANES
UP_MARK_FROM = 75 * LANES
UP_FELL = 76 * LANES
UP_MISSED = 77 * LANES
FROZEN = 78 * LANES
SUSPECT = 79 * LANES  # may have a probe that stands still
STRANGE = 80 * LANES  # the core must do it
TRIP = 81 * LANES  # -1: none
TRIP_AT = 82 * LANES
COUNTED_AT = 83 * LANES  # step of the last count over the cut-outs
DRIVING_IN_BAND = 84 * LANES
DAY_ON = 85 * LANES  # on at midnight
PAD_LOW = 86 * LANES  # colder than anything
PAD_HIGH = 87 * LANES  # warmer than anything

MARKS = 88 * LANES  # time on at the last full hours, the oldest first
MARK_ROWS = 25
REFUSED = 113 * LANES  # steps refused, by cause
ZONES = 127 * LANES  # the first zone's rows begin here

# within a zone's rows
Z0 = 0 * LANES
Z1 = 1 * LANES
TEMP = 2 * LANES  # reading [m°C]
PEAK = 3 * LANES
HEAT = 4 * LANES
FIX = 5 * LANES
IN_BAND = 6 * LANES
BASE = 7 * LANES
UPPER = 8 * LANES
BEFORE = 9 * LANES  # the reading before [m°C]
SAME_SINCE = 10 * LANES
SAMPLE = 11 * LANES
ALIKE = 12 * LANES
OVER = 13 * LANES
ZONE = 14 * LANES  # from zone to zone
