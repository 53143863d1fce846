"""The day in one sentence: what to set, what it brings with its interval, from how many pulls; or what to run to find out."""

from dataclasses import dataclass

from pullbook.wording import counted, plain, signed

_FAR = 2.0  # tolerances given away against the best at every rpm, beyond which the sentence says so


@dataclass(frozen=True, slots=True)
class SentenceParts:
    """What the sentence is made from. Percentages (mean, lo, hi) with 90 % intervals; ``set_words``: the setting in a builder's
    words; ``pulls``: how many were used."""

    set_words: str
    change_pct: tuple[float, float, float] | None
    most_pct: tuple[float, float, float] | None  # of the curve for most torque
    tolerance_pct: float
    pulls: int
    pull_word: str  # what they are: pull or hold
    state: str  # inside, above_tested, below_tested, flat: what holds over most of the rpm in use
    edge: str | None  # the setting run that lies nearest to a best beyond what was tested, as it is called
    is_baseline: bool
    less_deg: float  # degrees under the baseline, mean over the rpm in use
    knock_binds: bool  # the ceiling that holds the advice down comes from noted knock
    limit_binds: bool  # it comes from the engine's known limit
    none_clean: bool  # knock was noted on every setting run
    next_words: str | None
    enough: bool
    held_pct: tuple[float, float, float] | None = None  # what more advance would change, where that may be nothing: not advised
    cost_pct: float | None = None  # what the parts advised give away against the best curve at every rpm; None for a table


def change_words(change: tuple[float, float, float] | None, tolerance_pct: float) -> str:
    """A change against the baseline with its verdict, no more digits than its interval carries.

    Examples
    --------
    >>> change_words((1.234, 0.61, 1.86), 0.5)
    'gains 1.2 % over the baseline (0.6 to 1.9 %)'
    >>> change_words((0.02, -0.21, 0.24), 0.5)
    'makes the same torque as the baseline (−0.2 to +0.2 %)'
    """
    if change is None:
        return "cannot be compared with a baseline"
    mean, lo, hi = change
    digits = 0 if hi - lo >= 8.0 else 1
    if -tolerance_pct <= lo and hi <= tolerance_pct:
        if lo > 0:
            return f"gains {_clear_of_zero(hi, digits)} % over the baseline at most"
        if hi < 0:
            return f"costs {_clear_of_zero(-lo, digits)} % against the baseline at most"
        return f"makes the same torque as the baseline ({signed(lo, digits)} to {signed(hi, digits)} %)"
    if lo > 0:
        return f"gains {plain(mean, digits)} % over the baseline ({_clear_of_zero(lo, digits)} to {plain(hi, digits)} %)"
    if hi < 0:
        return f"costs {plain(-mean, digits)} % against the baseline ({_clear_of_zero(-hi, digits)} to {plain(-lo, digits)} %)"
    return f"cannot be told from the baseline ({signed(lo, digits)} to {signed(hi, digits)} %)"


def _ends(change: tuple[float, float, float]) -> str:
    """The interval of a change, %."""
    _, lo, hi = change
    digits = 0 if hi - lo >= 8.0 else 1
    return f"{signed(lo, digits)} to {signed(hi, digits)} %"


def _clear_of_zero(end: float, digits: int) -> str:
    """An end of an interval that excludes zero, never written as 0."""
    shown = next((plain(end, d) for d in range(digits, 3) if round(end, d) > 0.0), None)
    return shown or "a trace"


def day_sentence(outcome: SentenceParts) -> str:
    """One sentence for page one and the index."""
    count = counted(outcome.pulls, outcome.pull_word)
    change = f"it {change_words(outcome.change_pct, outcome.tolerance_pct)}"
    setting = outcome.set_words
    if outcome.held_pct is not None:
        # the change of the baseline against itself is no news; why there is no more advance is
        setting = "leave it as the baseline is" if outcome.is_baseline else setting
        change = f"what more advance would bring cannot be told from nothing ({_ends(outcome.held_pct)})"
    then = f"; next: {outcome.next_words}" if outcome.next_words else ""
    if outcome.enough and not outcome.next_words:
        then = "; more pulls would find less than 0.3 %"
    if outcome.none_clean:
        clear = f"{setting}, with somebody listening, to see whether that is"
        return f"Knock was noted on every setting run, so nothing here is clear of it yet: {clear}; {change}, {count}."
    if outcome.state == "above_tested" and outcome.knock_binds:
        return f"Knock, not torque, sets the limit here: {setting}; {change}, {count}{then}."
    if outcome.state in ("above_tested", "below_tested") and outcome.edge and not outcome.enough:
        side, most = ("above", "most") if outcome.state == "above_tested" else ("below", "least")
        where = f"{side} {outcome.edge}, the {most} advance that was run,"
        return f"The best lies {where} over most of the rpm; until it is found, {setting}: {change}, {count}{then}."
    if outcome.state == "flat" and not outcome.enough:
        return f"Cannot tell yet where the best lies; until then {setting}: {change}, {count}{then}."
    if outcome.is_baseline and outcome.held_pct is None:
        return f"Leave it as the baseline is: {_most_words(outcome)}, {count}{then}."
    return f"{setting[0].upper()}{setting[1:]}: {_why_this(outcome, change)}, {count}{then}."


def _most_words(outcome: SentenceParts) -> str:
    """What could be had beyond the baseline."""
    if outcome.most_pct is None or outcome.most_pct[1] <= 0.05:
        return "nothing under the ceiling is measurably better"
    mean, lo, hi = outcome.most_pct
    return f"the most to be had is {plain(mean)} % ({plain(lo)} to {plain(hi)} %)"


def _why_this(outcome: SentenceParts, change: str) -> str:
    """What the setting brings; where it brings no torque, that it is the least advance the tolerance allows."""
    mean = None if outcome.change_pct is None else outcome.change_pct[0]
    far = outcome.cost_pct is not None and outcome.cost_pct > _FAR * outcome.tolerance_pct
    short = f", still {plain(outcome.cost_pct or 0.0)} % short of the best at every rpm" if far else ""
    if outcome.held_pct is not None or mean is None or mean >= outcome.tolerance_pct or outcome.less_deg < 0.75:
        return f"{change}{short}"
    held = " under the knock ceiling" if outcome.knock_binds else " under this engine’s limit" if outcome.limit_binds else ""
    most = "what it can be set to make" if far else "the most torque"
    least = f"the least advance within {plain(outcome.tolerance_pct, 2)} % of {most}{held}"
    return f"{least}, on average {plain(outcome.less_deg)}° less than the baseline; {change}{short}"


def nothing_sentence(pulls: int, known_advance: bool) -> str:
    """The sentence where no advice is possible, with the step that would make it so."""
    if pulls == 0:
        return "No pull of this day could be used, so nothing can be said about timing yet: see what was left out, and why."
    if not known_advance:
        return (
            "Torque was compared, but the advance is not known: write initial_deg and total_deg in the pull sheet, log the "
            "advance, or take light readings."
        )
    return "Cannot tell yet: too little to compare advance by; run the baseline again, and a setting well back from it."
