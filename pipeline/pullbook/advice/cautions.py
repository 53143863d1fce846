"""Cautions that go with a job: chosen by what the day's advice asks people to do, in plain words, never a promise."""

KNOCK = (
    "Knock and pre-ignition can break an engine in seconds and are not always heard over a dyno. Have somebody "
    "listening on every pull, and lift at the first sign. Hearing nothing, or having nobody listen, proves nothing about "
    "the next tank of fuel or a hotter day."
)
KICK_BACK = (
    "Too much advance at cranking speed makes an engine kick back: it can break a starter, a flywheel housing or a "
    "wrist. If it fights the starter, take initial advance out."
)
RETARD = (
    "Late timing puts heat into exhaust valves, pipes and the dyno cell. Keep retarded pulls short, watch exhaust "
    "temperature and let the engine cool between them."
)
ROTATING = (
    "Keep hands, hair, leads and sleeves away from fan, belts, damper and dyno shaft. Timing is set with the engine "
    "turning: a strobe makes moving parts look still. Stand out of line with the shaft and the tyres."
)
MONOXIDE = "Exhaust gas kills without a smell. Extract it at the pipe, ventilate the room and use a carbon-monoxide alarm."
FUEL = (
    "Fuel and sparks meet at this job. Check for leaks before every session, keep an extinguisher at hand, and never "
    "prime by the open carburettor."
)
NOISE = "An engine at full load is loud enough to harm hearing in minutes: wear ear protection, and agree on hand signs."
VOLTAGE = (
    "Ignition voltage can injure, more so with a heart pacemaker. Switch off before touching leads, coil or module, "
    "and never run with a lead hanging free."
)
RULES = (
    "On the road, timing is part of an engine's emissions approval, and many competition classes limit it. Ask what "
    "applies to this vehicle and class before it leaves the dyno."
)
MAKER = (
    "What the engine's maker says, and the judgement of people licensed for this work where a licence is required, go "
    "before anything printed here."
)
BELOW_TESTED = (
    "Below the lowest rpm tested, torque says nothing about timing: starting, idle and part throttle have to be "
    "checked on the engine."
)
VACUUM = "Vacuum advance is left out of this advice: what it adds at part throttle comes on top and was not tested."
MAPPED = (
    "A wrong entry in an ignition table takes effect at once. Save the old table, enter the new one, and check two "
    "rpm with a light before the next full-load pull."
)
SPRINGS = (
    "Weights and springs fly outwards: fit springs, stop and clips with the ignition off and check the curve with a "
    "light up to full advance before loading."
)


def for_job(
    *,
    kind: str | None,
    vacuum: str | None,
    steps_up: bool,
    steps_down: bool,
    changes_parts: bool,
    has_setting: bool,
) -> tuple[str, ...]:
    """The cautions a day's advice calls for, the most pressing first.

    Parameters
    ----------
    kind
        ``mechanical``, ``locked``, ``mapped`` or None.
    vacuum
        Vacuum advance on the day: ``on``, ``off`` or None.
    steps_up, steps_down
        Whether a next pull goes beyond, or back from, what was tested.
    changes_parts
        Whether springs or stops are to be changed.
    has_setting
        Whether anything is advised at all.
    """
    said = [KNOCK]
    if kind != "mapped" and (has_setting or steps_up):
        said.append(KICK_BACK)
    if kind == "locked":
        said.append(
            "With the advance locked the engine cranks at full advance: start it with the ignition off until it turns freely."
        )
    said.append(RETARD)
    if steps_down:
        said.append("The next pulls include a retarded one: keep it as short as the others and give the exhaust time to cool.")
    if changes_parts:
        said.append(SPRINGS)
    if kind == "mapped":
        said.append(MAPPED)
    if has_setting:
        said.append(BELOW_TESTED)
    if kind != "mapped" or vacuum == "on":
        said.append(VACUUM)
    return (*said, ROTATING, MONOXIDE, FUEL, NOISE, VOLTAGE, RULES, MAKER)
