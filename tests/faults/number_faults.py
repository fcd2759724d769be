"""Mistakes in numbers to be planted in sound circuits: a value, a type or a told figure that is not as it should be."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from planting import Kind
from signal_faults import (
    channels_exchanged,
    channels_run_together,
    class_two_coupling,
    feedback_of_one_channel,
    large_bias_resistor,
    large_feedback_capacitor,
    linear_volume,
    loaded_volume_control,
    missing_bleed,
    missing_compensation,
    much_gain,
    no_output_resistor,
    one_channel_off,
    open_to_radio,
    opposite_gang,
    reversed_output_electrolytic,
    reversed_track,
    slow_type,
    small_coupling_with_target,
    small_coupling_without_target,
    unstable_type,
)
from stage_faults import (
    direct_volts_at_the_output,
    doubled_rails,
    feedback_before_the_stage,
    high_secondary,
    hot_regulator,
    large_emitter_resistor,
    large_emitter_resistors,
    large_output_resistor,
    low_chip_gain,
    low_secondary,
    low_volts_devices,
    missing_discharge,
    small_bleeder,
    small_emitter_resistors,
    small_heatsink,
    small_led_resistor,
    small_output_devices,
    small_reservoir,
    small_transformer,
    too_much_bias,
    turned_winding,
    unprotected_adapter,
    wrong_regulator_divider,
)

# Places that cannot be told, and why. Held true by a test.
_HALVES = "a crossfeed leads to other places of the other channel, as the halves of one circuit do"
_ENOUGH = "no level is wanted, and the swing is enough for headphones"
_NO_STAGE = "a single follower on a source of current is not recognised as an output stage"
_DELIBERATE = "so much of the top is gone that it looks meant, and no band is told"
NUMBERS_NOT_TOLD: Mapping[str, str] = MappingProxyType(
    {
        "guitar-pedal: C7 a thirtieth": "half the supply is a net like others, by which a signal seems to get round",
        "input-filter-and-buffer: C3 a thirtieth": "it was so large that its corner still lies below 15 Hz",
        "microphone-preamplifier: C5 a thirtieth": "what an instrumentation amplifier does is not computed",
        "mosfet-follower: C1 a thirtieth": "what a regulator does as a source of current is not computed",
        "riaa-active-lm4562: C5 a thirtieth": "its corner is above 200 Hz, where it looks meant, and no band is told",
        "line-stage-smd: C2 a thirtieth": "it was so large that its corner still lies below the band",
        "phones-from-op-amp: RV1 linear": "one gang, no capacitor and no name: it may set something else than a level",
        "crossfeed: R10 1.4 times its partner": _HALVES,
        "crossfeed: R10 three times its partner": _HALVES,
        "crossfeed: R11 three times its partner": _HALVES,
        "clip-indicator: R7 a thirtieth": "what the output of the comparator gives a lamp is not computed",
        "complementary-feedback-amplifier: R8 and R10 ten times": _ENOUGH,
        "headphone-class-ab: R9 and R10 ten times": _ENOUGH,
        "power-amplifier-discrete: R10 and R11 ten times": "what it feeds is not told",
        "microphone-preamplifier: C2 turned round": "undecided: what an instrumentation amplifier does is not computed",
        "microphone-preamplifier: C3 turned round": "undecided: what an instrumentation amplifier does is not computed",
        "tda7294-amplifier: R3 a tenth": "the part book tells its least gain in words only",
        "electret-preamplifier: C5 thirty times": _DELIBERATE,
        "synth-mixer: C3 thirty times": _DELIBERATE,
        "synth-mixer: C6 thirty times": _DELIBERATE,
        "input-filter-and-buffer: C4 thirty times": "undecided: the setting of its control is not told",
        "headphone-class-ab: C1 and R1 left out": "a volume control stands between the socket and the input",
        "class-a-follower: a heatsink of 200 K/W": _NO_STAGE,
        "class-a-follower: R4 on D": _NO_STAGE,
        "class-a-follower: 22k from +12V to P": _NO_STAGE,
        "headphone-class-ab: R5 twice": "undecided: no heatsink is told, and 180 mA are bearable on a large one",
        "headphone-class-ab: 22k from +12V to P": "undecided: how far its control is turned decides",
        "bridged-line-amplifier: R4 thirty times": "undecided: what a balanced output gives at most is not computed",
        "bridged-line-amplifier: R6 thirty times": "undecided: what a balanced output gives at most is not computed",
    }
)

_NUMBER_KINDS: tuple[tuple[str, Kind, str], ...] = (
    ("a coupling capacitor too small for the band", small_coupling_with_target, "signal/passband"),
    ("a coupling capacitor too small, no band told", small_coupling_without_target, "signal/coupling-corner"),
    ("one channel off by 1.4", one_channel_off, "signal/channel-match"),
    ("feedback of one channel off", feedback_of_one_channel, "signal/channel-match"),
    ("a bleeder too small", small_bleeder, "supply/resistor-heat"),
    ("a lamp's resistor too small", small_led_resistor, "supply/led-current"),
    (
        "one emitter resistor ten times",
        large_emitter_resistor,
        "output-stage/emitter-resistors-alike output-stage/emitter-resistors",
    ),
    (
        "both emitter resistors ten times",
        large_emitter_resistors,
        "output-stage/emitter-resistors output-stage/base-drive output-stage/load-drive signal/gain-structure "
        "output-stage/resistor-heat",
    ),
    ("both emitter resistors a thirtieth", small_emitter_resistors, "output-stage/emitter-resistors"),
    ("an output electrolytic turned round", reversed_output_electrolytic, "supply/capacitor-polarity"),
    ("rails of twice the volts", doubled_rails, "supply/amplifier-supply-range"),
    ("a volume control loaded", loaded_volume_control, "signal/volume-loading"),
    ("an op-amp that is not stable at its gain", unstable_type, "signal/stable-gain"),
    ("a compensation capacitor left out", missing_compensation, "signal/stable-gain"),
    ("a chip amplifier at too little gain", low_chip_gain, "output-stage/chip-gain"),
    (
        "a transformer of 0.6 times the volts",
        low_secondary,
        "supply/regulator-headroom signal/gain-structure supply/stated-volts",
    ),
    (
        "a transformer of 1.6 times the volts",
        high_secondary,
        "supply/capacitor-voltage supply/regulator-input supply/amplifier-supply-range",
    ),
    ("a transformer of a tenth of the power", small_transformer, "supply/transformer-load"),
    ("a winding turned round", turned_winding, "supply/winding-sense"),
    ("a reservoir of a fiftieth", small_reservoir, "supply/reservoir-ripple supply/regulator-headroom"),
    ("a regulator with too much to carry", hot_regulator, "supply/regulator-heat"),
    ("100 ohm before headphones", large_output_resistor, "output-stage/load-drive signal/gain-structure"),
    ("22 M at a bipolar input", large_bias_resistor, "signal/offset"),
    ("a feedback capacitor of thirty times", large_feedback_capacitor, "signal/feedback-capacitor signal/passband"),
    ("a slow op-amp", slow_type, "signal/slew signal/closed-loop-bandwidth"),
    ("an input open to radio", open_to_radio, "signal/rf-entry"),
    ("a regulator's divider wrong", wrong_regulator_divider, "supply/rail-name"),
    ("a volume control that turns backwards", reversed_track, "signal/volume-direction"),
    ("a gang the other way", opposite_gang, "signal/volume-gangs"),
    ("a linear volume control", linear_volume, "signal/volume-taper"),
    ("channels run together", channels_run_together, "signal/channels-meet"),
    ("channels exchanged", channels_exchanged, "signal/channels-crossed"),
    ("class 2 ceramic in the signal", class_two_coupling, "signal/capacitor-dielectric"),
    ("no bleed at an output", missing_bleed, "signal/coupling-bleed"),
    ("nothing discharges a high rail", missing_discharge, "supply/bleed"),
    ("an adapter socket without protection", unprotected_adapter, "supply/reverse-input"),
    (
        "output transistors too small",
        small_output_devices,
        "output-stage/device-current output-stage/device-heat output-stage/short-circuit",
    ),
    ("output transistors for too few volts", low_volts_devices, "output-stage/device-voltage"),
    ("a heatsink too small", small_heatsink, "output-stage/device-heat output-stage/emitter-resistors"),
    (
        "too much bias",
        too_much_bias,
        "output-stage/bias-spread output-stage/device-heat output-stage/emitter-resistors signal/channel-match",
    ),
    ("feedback before the output stage", feedback_before_the_stage, "output-stage/feedback-outside"),
    ("direct volts at headphones", direct_volts_at_the_output, "output-stage/output-dc"),
    ("gain of thirty times", much_gain, "signal/gain-structure"),
    ("no resistor before a socket", no_output_resistor, "output-stage/output-isolation"),
)

# Each kind of mistake with the rules of which one must find it.
NUMBER_KINDS: Mapping[str, tuple[Kind, frozenset[str]]] = MappingProxyType(
    {name: (kind, frozenset(rules.split())) for name, kind, rules in _NUMBER_KINDS}
)
