"""The figures that a record of the part book may have: name, unit, meaning. Rules write `part.book.NAME`.

All figures are magnitudes, for PNP transistors, P-channel FETs and negative regulators too; `polarity` and the kind
tell the sign. Limits (`…_most`, `…_least`) are those of the data sheet at 25 °C unless the record says otherwise.
On a FET, collector, base and emitter in a name mean drain, gate and source.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from netcheck.ground.units import (
    AMPERE,
    AMPERES_PER_ROOT_HERTZ,
    FARAD,
    HENRY,
    HERTZ,
    KELVIN_PER_WATT,
    OHM,
    PLAIN,
    SECOND,
    SIEMENS,
    SLEW,
    VOLT,
    VOLTS_PER_ROOT_HERTZ,
    WATT,
    Unit,
)

_AMPLIFIERS: dict[str, tuple[Unit | None, str]] = {
    "amplifiers": (PLAIN, "amplifiers in the package"),
    "supply_total_most": (VOLT, "absolute maximum from supply minus to supply plus"),
    "supply_total_recommended_most": (VOLT, "largest recommended volts from supply minus to supply plus"),
    "supply_total_least": (VOLT, "least volts from supply minus to supply plus; makers may differ"),
    "supply_current": (AMPERE, "current drawn at rest by each amplifier, or by the whole part where it is one"),
    "supply_current_total_most": (AMPERE, "most current drawn at rest by the whole package"),
    "common_mode_from_plus": (VOLT, "how far the inputs must stay below supply plus; negative: may go above it"),
    "common_mode_from_minus": (VOLT, "how far the inputs must stay above supply minus; negative: may go below it"),
    "output_from_plus": (VOLT, "how near the output comes to supply plus with a light load"),
    "output_from_minus": (VOLT, "how near the output comes to supply minus with a light load"),
    "differential_input_most": (VOLT, "absolute maximum between the two inputs"),
    "input_current_most": (AMPERE, "absolute maximum into an input (through its clamps)"),
    "input_clamp": (None, "diodes stand back to back between the inputs"),
    "clamp_volts": (VOLT, "volts at which the diodes between the inputs conduct"),
    "input_resistance": (OHM, "resistance of an input"),
    "gain_bandwidth": (HERTZ, "product of gain and bandwidth"),
    "bandwidth": (HERTZ, "3 dB bandwidth of a part with fixed gain"),
    "slew_rate": (SLEW, "fastest change of the output"),
    "noise_voltage": (VOLTS_PER_ROOT_HERTZ, "input noise voltage density at 1 kHz"),
    "noise_current": (AMPERES_PER_ROOT_HERTZ, "input noise current density at 1 kHz"),
    "bias_current": (AMPERE, "input bias current, typical"),
    "bias_current_most": (AMPERE, "input bias current, worst at 25 °C"),
    "bias_direction": (None, "which way bias current flows: into the input, out of it, or either"),
    "offset_volts": (VOLT, "input offset, typical magnitude"),
    "offset_volts_most": (VOLT, "input offset, largest magnitude"),
    "output_current": (AMPERE, "current that the output is specified to deliver"),
    "short_circuit_current": (AMPERE, "current into a shorted output"),
    "output_resistance": (OHM, "output resistance with the loop open"),
    "open_loop_gain": (PLAIN, "gain at DC with the loop open"),
    "phase_margin": (PLAIN, "degrees of phase left at unity gain"),
    "load_capacitance_most": (FARAD, "largest capacitance that may hang straight on the output"),
    "load_least": (OHM, "least load that the part is made for"),
    "least_stable_gain": (PLAIN, "least noise gain at which the part is stable without help"),
    "compensation_capacitor": (FARAD, "capacitor between the compensation pins for stability at unity gain"),
    "fixed_gain": (PLAIN, "gain that the part has of itself"),
    "phase_reversal": (None, "the output jumps to the other rail when an input leaves its range"),
    "output_form": (None, "what the output is made of"),
    "source_resistance_most": (OHM, "largest source resistance that the part is made for"),
    "decoupling_least": (FARAD, "least capacitance wanted close to each supply pin"),
}

_TRANSISTORS: dict[str, tuple[Unit | None, str]] = {
    "collector_emitter_volts_most": (VOLT, "absolute maximum collector to emitter (drain to source)"),
    "collector_base_volts_most": (VOLT, "absolute maximum collector to base (drain to gate)"),
    "emitter_base_volts_most": (VOLT, "absolute maximum of the base-emitter junction in reverse"),
    "gate_source_volts_most": (VOLT, "absolute maximum gate to source, either way"),
    "collector_current_most": (AMPERE, "absolute maximum collector (drain) current, continuous"),
    "collector_peak_current_most": (AMPERE, "absolute maximum collector (drain) current, pulsed"),
    "power_most": (WATT, "dissipation in free air at 25 °C"),
    "power_case_most": (WATT, "dissipation with the case held at 25 °C"),
    "gain_least": (PLAIN, "least current gain (hFE) at gain_at_current"),
    "gain_most": (PLAIN, "largest current gain (hFE) at gain_at_current"),
    "gain_at_current": (AMPERE, "collector current at which the current gain is given"),
    "base_emitter_volts": (VOLT, "base to emitter when conducting"),
    "saturation_volts": (VOLT, "collector to emitter when saturated"),
    "transition_frequency": (HERTZ, "frequency at which the current gain is one"),
    "output_capacitance": (FARAD, "collector (drain) capacitance"),
    "input_capacitance": (FARAD, "gate capacitance; of an amplifier that between its inputs"),
    "gate_threshold": (VOLT, "gate to source at which a MOSFET begins to conduct"),
    "pinch_off_volts": (VOLT, "gate to source at which a junction FET stops conducting"),
    "saturation_drain_current": (AMPERE, "drain current of a junction FET with gate joined to source"),
    "on_resistance_most": (OHM, "largest drain to source resistance, fully on"),
    "on_resistance_gate_volts": (VOLT, "gate to source at which on_resistance_most is given"),
    "transconductance": (SIEMENS, "change of output current with input volts"),
    "thermal_to_air": (KELVIN_PER_WATT, "junction to air without heatsink"),
    "thermal_to_case": (KELVIN_PER_WATT, "junction to case"),
    "tab": (None, "pin that the metal is joined to"),
}

_REGULATORS: dict[str, tuple[Unit | None, str]] = {
    "polarity": (None, "sign of the output"),
    "adjustable": (None, "the output is set by parts outside"),
    "output_volts": (VOLT, "magnitude of the output of a fixed part"),
    "reference_volts": (VOLT, "volts between output (or reference) and adjust pin"),
    "adjust_current": (AMPERE, "current of the adjust pin"),
    "set_current": (AMPERE, "current of the pin whose resistor sets the output"),
    "least_load": (AMPERE, "least load current (cathode current of a shunt reference) for regulation"),
    "drop_out": (VOLT, "input to output at which regulation ends, at full current"),
    "drop_out_light": (VOLT, "the same at tens of milliamperes"),
    "input_most": (VOLT, "absolute maximum from input to ground"),
    "input_least": (VOLT, "least volts from input to ground"),
    "input_output_most": (VOLT, "absolute maximum from input to output"),
    "current_limit": (AMPERE, "output current at which the part limits itself"),
    "output_capacitor_needed": (None, "unstable without a capacitor at the output"),
    "output_capacitor_least": (FARAD, "least capacitor at the output"),
    "output_capacitor_resistance_least": (OHM, "least series resistance of the capacitor at the output"),
    "output_capacitor_resistance_most": (OHM, "largest series resistance of the capacitor at the output"),
    "input_capacitor_least": (FARAD, "least capacitor at the input, where leads are long"),
    "adjust_capacitor": (FARAD, "usual capacitor at the adjust pin against ripple"),
    "protection_output_capacitor": (FARAD, "output capacitor above which a diode from output to input is asked for"),
    "output_noise": (VOLT, "noise of the output, 10 Hz to 100 kHz"),
    "switching_frequency": (HERTZ, "frequency of a converter"),
    "inductance": (HENRY, "inductance that a converter is made for"),
}

_DIODES: dict[str, tuple[Unit | None, str]] = {
    "forward_volts": (VOLT, "forward volts in normal use"),
    "forward_current": (AMPERE, "current at which forward_volts is given"),
    "reverse_volts_most": (VOLT, "largest volts in reverse, repetitive peak"),
    "current_most": (
        AMPERE,
        "largest continuous or mean current; of a regulator at its output, of a shunt reference its cathode",
    ),
    "surge_current_most": (AMPERE, "largest single half-wave or pulse"),
    "reverse_recovery": (SECOND, "time to stop conducting"),
    "zener_volts": (VOLT, "volts in breakdown at zener_current"),
    "zener_current": (AMPERE, "current at which zener_volts is given"),
    "zener_resistance": (OHM, "dynamic resistance in breakdown"),
    "transfer_ratio_least": (PLAIN, "least current transfer of an optocoupler, as a fraction"),
    "isolation_volts": (VOLT, "isolation test between the two sides, rms"),
    "coil_volts": (VOLT, "volts of a coil"),
}

FIELDS: Mapping[str, tuple[Unit | None, str]] = MappingProxyType(
    {**_AMPLIFIERS, **_TRANSISTORS, **_REGULATORS, **_DIODES}
)

WORDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "input_clamp": ("yes", "no"),
        "bias_direction": ("in", "out", "either"),
        "phase_reversal": ("yes", "no"),
        "output_form": ("push-pull", "open collector", "emitter follower", "current", "bridge", "three-state"),
        "tab": (
            "input", "output", "ground", "adjust", "collector", "drain", "source", "cathode", "anode",
            "supply plus", "supply minus", "isolated",
        ),
        "polarity": ("positive", "negative"),
        "adjustable": ("yes", "no"),
        "output_capacitor_needed": ("yes", "no"),
    }
)  # fmt: skip
"""Words that a figure without unit may have."""
