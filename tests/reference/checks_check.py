"""Checks the technical checks against figures computed here with numpy, and against signals that others simulate.

    python tests/reference/checks_check.py PROGRAM FOLDER

FOLDER holds the recordings of the invented clinic. neurokit2's simulation of many leads breaks Einthoven's law, so it
must fail the lead relations; it is no model of a heart and is used for nothing else. Its R peaks of a single lead are
used: they must be the beats that ecgkeep finds.
"""

import json
import os
import subprocess
import sys
import tempfile
import warnings

import neurokit2
import numpy as np
import wfdb

PROGRAM, FOLDER = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
LEADS = "I II III aVR aVL aVF V1 V2 V3 V4 V5 V6".split()
RATE = 500
faults = []


def answer(command, path):
    at = ["--at", "2026-03-02T18:00+01:00"] if command == "check" else []
    done = subprocess.run([PROGRAM, command, path, "--json", *at], capture_output=True, text=True)
    return json.loads(done.stdout)


def found(path, code):
    findings = answer("check", path)["assessment"]["findings"]
    return [finding for finding in findings if finding["code"] == code]


def measured(finding):
    return float(finding["measured"]["value"])


def expect(condition, text):
    print(("ok    " if condition else "FAULT ") + text)
    if not condition:
        faults.append(text)


def written(name, millivolts, gain=1000):
    """A record of twelve leads, written by PyPI wfdb; a count is 1 uV at the gain of 1000."""
    wfdb.wrsamp(name, fs=RATE, units=["mV"] * 12, sig_name=LEADS, p_signal=millivolts, fmt=["16"] * 12,
                adc_gain=[gain] * 12, baseline=[0] * 12)
    counts = wfdb.rdrecord(name, physical=False).d_signal.astype(float)
    return os.path.abspath(name + ".hea"), counts * 1000 / gain


def simulated_leads_fail_the_relation():
    """neurokit2's ecg_simulate(method="multileads"): lead III is no difference of II and I."""
    simulated = neurokit2.ecg_simulate(duration=10, sampling_rate=RATE, heart_rate=70, method="multileads",
                                       random_state=3)
    path, uv = written("simulated", simulated.to_numpy()[: 10 * RATE])
    one, two, three = uv[:, 0], uv[:, 1], uv[:, 2]
    apart = three - (two - one)
    largest, share = np.abs(apart).max(), 100 * np.sqrt((apart**2).mean()) / three.std()
    findings = found(path, "einthoven")
    expect(len(findings) == 1 and findings[0]["verdict"] == "fail",
           f"neurokit2's many leads fail lead III against II - I (numpy: up to {largest:.0f} uV, {share:.0f} %)")
    expect(findings and abs(measured(findings[0]) - largest) < 0.11,
           f"the largest difference is that of numpy: {measured(findings[0]) if findings else None} uV")
    # Written as the law asks, the same samples pass.
    lawful = simulated.to_numpy()[: 10 * RATE].copy()
    lawful[:, 2] = lawful[:, 1] - lawful[:, 0]
    path, _ = written("lawful", lawful)
    expect(found(path, "einthoven") == [], "with III = II - I they pass")


def cal_like_beat_raises_no_warning_of_cables():
    """The geometry of the CAL signals (I, II, V1 to V6 identical, III zero); the waves are our own."""
    time = np.arange(10 * RATE) / RATE
    wave = np.zeros_like(time)
    for beat in np.arange(0.4, 10, 1.0):
        for centre, width, height in [(-0.178, 0.029, 0.15), (-0.02, 0.008, -0.1), (0, 0.012, 2.0),
                                      (0.03, 0.01, -0.4), (0.24, 0.05, 0.3)]:
            wave += height * np.exp(-0.5 * ((time - beat - centre) / width) ** 2)
    factors = np.array([1, 1, 0, -1, 0.5, 0.5, 1, 1, 1, 1, 1, 1])
    path, _ = written("cal", np.outer(wave, factors))
    cables = [f for f in answer("check", path)["assessment"]["findings"] if f["code"].startswith("cable-")]
    expect(len(cables) == 3 and all(f["verdict"] == "not_assessed" for f in cables),
           f"a CAL-like beat raises no warning of exchanged cables: {[f['verdict'] for f in cables]}")
    relations = found(path, "einthoven") + found(path, "goldberger")
    expect(relations == [], "and keeps the lead relations")


def hum_is_that_of_a_discrete_fourier_transform():
    """Ten seconds hold whole periods of 50 Hz: its line of the transform is the hum."""
    name = os.path.join(FOLDER, "lm03_mains_hum")
    record = wfdb.rdrecord(name)
    uv = record.p_signal * 1000
    line = np.abs(np.fft.rfft(uv[: 10 * int(record.fs)], axis=0)) * 2 / (10 * record.fs)
    # Every 0.1 Hz a line; 50 Hz is the 500th.
    worst = line[500].max()
    findings = found(name + ".hea", "mains-hum")
    value = measured(findings[0]) if findings else float("nan")
    expect(abs(value - worst) <= max(4, 0.1 * worst), f"hum of {value} uV, by transform {worst:.1f} uV")
    lead = record.sig_name[int(line[500].argmax())]
    expect(findings and f"most in {lead}" in findings[0]["text"], f"most of it in {lead}")


def beats_are_the_r_peaks_of_neurokit2():
    for name in ["lm01_faultless", "lm03_mains_hum", "lm06_exchanged_arms"]:
        path = os.path.join(FOLDER, name)
        record = wfdb.rdrecord(path)
        lead = record.p_signal[:, record.sig_name.index("V5")]
        _, peaks = neurokit2.ecg_peaks(neurokit2.ecg_clean(lead, sampling_rate=RATE), sampling_rate=RATE)
        peaks = np.array(peaks["ECG_R_Peaks"])
        checked = answer("check", path + ".hea")["assessment"]["rhythm"]
        if checked is None:
            # The source states a rate of its own: none is computed. As JSON without it.
            document = subprocess.run([PROGRAM, "convert", path + ".hea", "-", "--to", "json"], capture_output=True,
                                      text=True).stdout
            document = json.loads(document)
            document["recordings"][0].pop("measurements", None)
            with open(name + ".json", "w") as out:
                json.dump(document, out)
            checked = answer("check", name + ".json")["assessment"]["rhythm"]
        beats = np.array(checked["beats"])
        # ANSI/AAMI EC57 (from memory): within 150 ms; the ends of the strip are not scored.
        inner = peaks[(peaks > 75) & (peaks < len(lead) - 75)]
        missed = [int(peak) for peak in inner if np.abs(beats - peak).min() > 0.150 * RATE]
        extra = [int(beat) for beat in beats if np.abs(peaks - beat).min() > 0.150 * RATE]
        expect(not missed and not extra, f"{name}: {len(beats)} beats where neurokit2 finds {len(peaks)}: "
               f"missed {missed}, beyond {extra}")
        rate = 60 / np.diff(peaks / RATE).mean()
        expect(abs(float(checked["heart_rate"]["value"]) - rate) <= 2, f"{name}: {checked['heart_rate']['value']} /min, "
               f"by neurokit2 {rate:.1f}")


warnings.simplefilter("ignore")
with tempfile.TemporaryDirectory() as folder:
    os.chdir(folder)
    simulated_leads_fail_the_relation()
    cal_like_beat_raises_no_warning_of_cables()
    hum_is_that_of_a_discrete_fourier_transform()
    beats_are_the_r_peaks_of_neurokit2()
if faults:
    sys.exit(f"{len(faults)} faults")
