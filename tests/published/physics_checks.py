"""What our physics and the reference formulas answer to the published values."""

from __future__ import annotations

import math

from tests.published import end_corrections
from tests.published import psychoacoustics as hearing
from tests.published.cramer_rao import (
    harmonic_omega_variance,
    tone_omega_variance,
    tone_sigma_cents,
)
from tests.published.rows import Answer, Register, Row
from walkboard.physics import air, flue, locking, reed, room
from walkboard.physics.air import Air
from walkboard.physics.flue import End
from walkboard.quantities import CENTS_PER_NEPER, cents_of_ratio, hz_per_cent
from walkboard.scales.beats import cents_of_beat

register = Register()
answers, constant = register.answers, register.constant


def _air(row: Row) -> Air:
    given = row.inputs
    return Air(
        float(given["t_C"]),
        humidity=given.get("RH", 0.0),
        pressure_pa=given.get("p_Pa", 101_325.0),
        co2=given.get("x_CO2", 0.0004),
    )


@answers(r"air\.c\.(iec_.|cramer\..*|coolprop\..*)")
def _(row: Row) -> Answer:
    return air.speed_of_sound_m_s(_air(row))


@answers(r"air\.rho\..*")
def _(row: Row) -> Answer:
    return air.density_kg_m3(_air(row))


@answers(r"air\.c\.iso9613\..*")
def _(row: Row) -> Answer:
    return air.speed_of_sound_iso9613_m_s(row.inputs["t_C"])


@answers(r"air\.cents_per_C\.sqrtT\..*")
def _(row: Row) -> Answer:
    return air.cents_per_celsius_ideal(row.inputs["t_C"])


@answers(r"air\.cents_per_C\.cramer_constwater\..*")
def _(row: Row) -> Answer:
    return air.cents_per_celsius(Air(row.inputs["t_C"], row.inputs["RH_at_t"]))


@answers(r"air\.cents_per_C\.cramer_constRH50\..*")
def _(row: Row) -> Answer:
    return air.cents_per_celsius_at_held_humidity(Air(row.inputs["t_C"], row.inputs["RH"]))


@answers(r"air\.humidity_0_to_100\..*")
def _(row: Row) -> Answer:
    dry, wet = (Air(row.inputs["t_C"], rh, row.inputs["p_Pa"]) for rh in (0.0, 1.0))
    return cents_of_ratio(air.speed_of_sound_m_s(wet) / air.speed_of_sound_m_s(dry))


@answers(r"air\.co2_400_to_1500ppm\..*")
def _(row: Row) -> Answer:
    few, many = (Air(row.inputs["t_C"], row.inputs["RH"], co2=x) for x in (0.0004, 0.0015))
    return cents_of_ratio(air.speed_of_sound_m_s(many) / air.speed_of_sound_m_s(few))


@answers(r"air\.pressure_101_to_80kPa\..*")
def _(row: Row) -> Answer:
    low, high = (Air(row.inputs["t_C"], row.inputs["RH"], p) for p in (80_000.0, 101_325.0))
    return cents_of_ratio(air.speed_of_sound_m_s(low) / air.speed_of_sound_m_s(high))


@answers(r"air\.hz_per_C\..*")
def _(row: Row) -> Answer:
    return hz_per_cent(row.inputs["f_Hz"]) * air.cents_per_celsius_ideal(row.inputs["t_C"])


@answers(r"air\.cents_per_F\..*")
def _(row: Row) -> Answer:
    celsius = room.celsius_of_fahrenheit(row.inputs["t_F"])
    return air.cents_per_celsius_ideal(celsius) * room.CELSIUS_PER_FAHRENHEIT


@answers(r"field\.winter_437")
def _(row: Row) -> Answer:
    met = sum(row.inputs["t2_range"]) / 2.0
    return 440.0 * air.pitch_ratio(row.inputs["t1"], met)


@answers(r"flue\.endcorr\.unflanged\.exact\..*")
def _(row: Row) -> Answer:
    return end_corrections.unflanged_exact(row.inputs["ka"])


@answers(r"flue\.endcorr\.unflanged\.fit\..*")
def _(row: Row) -> Answer:
    return end_corrections.unflanged_fit(row.inputs["ka"])


@answers(r"flue\.endcorr\.flanged\.fit\..*")
def _(row: Row) -> Answer:
    return end_corrections.flanged_fit(row.inputs["ka"])


@answers(r"flue\.normalscale\.c1\..*")
def _(row: Row) -> Answer:
    return flue.normal_scale_mm(row.inputs["semitones_from_8ftC"], row.inputs["ht"])


@answers(r"flue\.normalscale\.n\d+")
def _(row: Row) -> Answer:
    return flue.normal_scale_mm(row.inputs["semitones_above_8ftC"])


@answers(r"flue\.normalscale\.octave_area_ratio")
def _(_row: Row) -> Answer:
    return (flue.normal_scale_mm(0) / flue.normal_scale_mm(12)) ** 2


@answers(r"flue\.normalscale\.octave_diameter_ratio")
def _(_row: Row) -> Answer:
    return flue.normal_scale_mm(0) / flue.normal_scale_mm(12)


@answers(r"flue\.cavaillecoll\..*")
def _(row: Row) -> Answer:
    given = row.inputs
    return flue.cavaille_coll_length_mm(given["f_Hz"], given["D_mm"], given["c"])


@answers(r"flue\.ising\..*")
def _(row: Row) -> Answer:
    given = row.inputs
    return flue.ising_length_mm(given["f_Hz"], given["c"], End.OPEN, given["D_mm"])


@answers(r"flue\.mouthcorr\.ising_over_r2_sqrt_lh")
def _(_row: Row) -> Answer:
    radius, width, height = 25.0, 39.0, 10.0
    return (
        flue.mouth_correction_mm(math.pi * radius**2, width, height)
        * math.sqrt(width * height)
        / radius**2
    )


@answers(r"flue\.endcorr\.ising_over_r")
def _(_row: Row) -> Answer:
    return flue.open_end_correction_mm(math.pi * 25.0**2) / 25.0


@answers(r"flue\.slide_sensitivity\.(open|stopped)\..*")
def _(row: Row) -> Answer:
    end = End.OPEN if ".open." in row.id else End.STOPPED
    return -flue.cents_per_mm(row.inputs["f_Hz"], row.inputs["c"], end)


@answers(r"reed\.bar_constant")
def _(_row: Row) -> Answer:
    # thickness 1 m, length 1 m, E/ρ = 1: what is left is the constant
    return reed.ideal_tongue_hz(1000.0, 1000.0, young_pa=1.0, density_kg_m3=1.0)


@answers(r"reed\.example")
def _(row: Row) -> Answer:
    given = row.inputs
    return reed.ideal_tongue_hz(given["t_mm"], given["L_mm"], 1e9 * given["E_GPa"], given["rho"])


@answers(r"reed\.length_exponent\.ideal")
def _(_row: Row) -> Answer:
    return math.log2(reed.ideal_tongue_hz(0.5, 60.0) / reed.ideal_tongue_hz(0.5, 30.0))


@answers(r"reed\.length_exponent\.measured")
def _(_row: Row) -> Answer:
    return reed.cents_per_mm(30.0) * 30.0 / CENTS_PER_NEPER


@answers(r"reed\.cents_per_mm\.ideal\..*")
def _(row: Row) -> Answer:
    return reed.cents_per_mm(row.inputs["L_mm"], reed.IDEAL_EXPONENT)


@answers(r"reed\.cents_per_mm\.measured\..*")
def _(row: Row) -> Answer:
    return reed.cents_per_mm(row.inputs["L_mm"])


@answers(r"reed\.tongue_temp_drift")
def _(row: Row) -> Answer:
    return reed.tongue_cents_per_celsius(row.inputs["dE_over_E_per_K"], row.inputs["alpha"])


@answers(r"hear\.sethares\.peak_df\..*")
def _(row: Row) -> Answer:
    return hearing.most_rough_difference_hz(row.inputs["f_low_Hz"])


@answers(r"hear\.dlf\.wier1977\..*")
def _(row: Row) -> Answer:
    return hearing.pure_tone_limen_hz(row.inputs["f_Hz"])


@answers(r"hear\.celeste\..*")
def _(row: Row) -> Answer:
    return cents_of_beat(row.inputs["f_Hz"], row.inputs["beat_Hz"])


@answers(r"lock\.adler\.example")
def _(row: Row) -> Answer:
    given = row.inputs
    return locking.beat_near_locking_hz(given["detuning_Hz"], given["lock_half_range_Hz"])


@answers(r"crb\.real\.single\.w")
def _(row: Row) -> Answer:
    return tone_omega_variance(row.inputs["N"], row.inputs["A"], row.inputs["sigma"])


@answers(r"crb\.real\.harmonic\.w0")
def _(row: Row) -> Answer:
    return harmonic_omega_variance(row.inputs["N"], row.inputs["amps"], row.inputs["sigma"])


@answers(r"crb\.example\..*")
def _(row: Row) -> Answer:
    return tone_sigma_cents(440.0, row.inputs["T_s"], 48_000.0, 20.0)


def _celeste(kind: str) -> Answer:
    (found,) = (c for c in hearing.CELESTE_CUSTOMS if c.kind == kind)
    return found.low_hz if found.low_hz == found.high_hz else [found.low_hz, found.high_hz]


constant("celeste.bps.vox_angelica", _celeste("vox angelica"))
constant("celeste.bps.toff", _celeste("strings"))
constant("celeste.bps.street_organ", _celeste("street organ"))
constant("hear.sethares.peak_x", hearing.PEAK_ARGUMENT)
constant("hear.sethares.peak_value", hearing.PEAK_ROUGHNESS)
constant("hear.jnd.encyclopedic.complex_below_500", hearing.COMPLEX_TONE_LIMEN_HZ)
constant("lock.flue.common_groove", 100.0 * locking.LOCKING_FRACTION)
constant("lock.1pct_in_cents", locking.LOCKING_CENTS)
constant("practice.warmup_hours", room.WARM_UP_HOURS)
constant("practice.room_tolerance_F", room.SAME_AS_SERVICE_FAHRENHEIT)
constant("practice.out_of_tune_dT_F", room.SOUNDS_OUT_FAHRENHEIT)
constant("practice.RH_low", 100.0 * room.HUMIDITY_LOW)
constant("practice.RH_high", 100.0 * room.HUMIDITY_HIGH)
constant("practice.RH_uk", 100.0 * room.HUMIDITY_NORTH)
constant("practice.heating_rate_C_per_h", room.HEATING_CELSIUS_PER_HOUR)
constant("practice.visits_per_year", room.VISITS_A_YEAR)


@answers(r"practice\.flue_cents_per_F_handbook")
def _(_row: Row) -> Answer:
    # the printed 2 is coarse; what the air really does lies within the row's tolerance of it
    return air.cents_per_celsius(Air(20.0)) * room.CELSIUS_PER_FAHRENHEIT
