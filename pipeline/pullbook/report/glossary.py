"""The words of the report, each in a line or two."""

GLOSSARY: tuple[tuple[str, str], ...] = (
    ("Advance", "How many crank degrees before top dead centre the spark comes. More is earlier."),
    ("Air factor", "What torque is multiplied by to bring it to a standard's air, so that a hot day and a cold one compare."),
    ("All in", "The engine speed at which the weights are out to the stop and advance grows no more."),
    (
        "Band",
        "Every advance that costs so little torque (half a per cent unless the day says otherwise) that no one would feel it.",
    ),
    ("Baseline", "The setting everything is compared with, run several times over the day."),
    ("Best advance", "Where torque peaks at that engine speed. A degree or two either side costs very little; six cost a lot."),
    ("Cannot tell", "The likely range reaches over zero: it may be a gain, a loss or nothing."),
    ("Delivered", "What the spark really did, from light, log and sheet together; not what the controller was asked for."),
    ("Drift", "Torque that comes or goes over the day whatever is set: heat, oil, fuel, the dyno."),
    ("Initial", "Advance with the weights at rest, as set with a light at idle, vacuum advance off."),
    ("Level", "How far a whole pull lies above or below what its timing explains."),
    ("Likely", "The truth lies in a range called likely nine times in ten, if the day was what the sheet says."),
    ("Limit", "The most advance this day's pulls and notes allow to be set. It is no promise about knock."),
    ("Pull", "One sweep at wide-open throttle, the unit of evidence: a thousand samples of one pull are still one pull."),
    ("Repeats", "How closely pulls of the same setting agree; nothing smaller can be seen without more pulls."),
    ("Same", "The whole likely range is too small to matter."),
    ("Stop", "The part that ends the weights' travel, in crank degrees: initial + stop = total."),
    ("Total", "Initial plus the full travel of the weights, in crank degrees. Distributor degrees are half."),
)
