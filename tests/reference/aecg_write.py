"""Writes the aECG documents of fixtures/aecg, each one spelling or fault that real files show, and what is to be read.

Independent of ecgkeep: strings and fractions only. A document that is to be read has a file `.expected` beside it,
with values computed here (origin + scale x digit, as exact nanovolts). What ecgkeep says of each document stands in
a file `.txt`, reviewed as data.

    python tests/reference/aecg_write.py          writes the files
    python tests/reference/aecg_write.py --check  says which committed files differ from what it would write

The element tree and its codes are as public sources print them; people, places and devices are invented.
"""

import sys
from fractions import Fraction
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "aecg"
V3 = "urn:hl7-org:v3"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
MDC = "2.16.840.1.113883.6.24"
ACT = "2.16.840.1.113883.5.4"
NANOVOLTS = {"nV": 1, "uV": 1000, "mV": 10**6, "V": 10**9}

DIGITS = {"I": [80, 65, -10, 12], "II": [100, 0, -7, 31], "V1": [-5, -60, 2147, 9]}


def code(value, system=None, **more):
    parts = {"code": value, "codeSystem": system, **more}
    return "<code " + " ".join(f'{k}="{v}"' for k, v in parts.items() if v is not None) + "/>"


def sequence(code_text, value):
    return f"<component><sequence>{code_text}{value}</sequence></component>"


def times(absolute=True, head="20260302091405.250", increment=("0.002", "s"), kind="", attributes="", with_head=True):
    name = "TIME_ABSOLUTE" if absolute else "TIME_RELATIVE"
    kind = kind or f' xsi:type="{"GLIST_TS" if absolute else "GLIST_PQ"}"'
    head_unit = "" if absolute else ' unit="s"'
    head_text = f'<head value="{head}"{head_unit}/>' if with_head else ""
    value, unit = increment
    unit = f' unit="{unit}"' if unit is not None else ""
    return sequence(
        code(name, ACT), f'<value{kind}{attributes}>{head_text}<increment value="{value}"{unit}/></value>'
    )


def lead(name, digits=None, origin=("0", "uV"), scale=("1.25", "uV"), kind=' xsi:type="SLIST_PQ"', lead_code=None):
    if digits is None:
        digits = " ".join(str(digit) for digit in DIGITS[name])
    lead_code = lead_code or code(f"MDC_ECG_LEAD_{name}", MDC, codeSystemName="MDC")

    def quantity(tag, pair):
        if pair is None:
            return ""
        value, unit = pair
        return f'<{tag} value="{value}"' + (f' unit="{unit}"' if unit is not None else "") + "/>"

    return sequence(
        lead_code,
        f"<value{kind}>{quantity('origin', origin)}{quantity('scale', scale)}<digits>{digits}</digits></value>",
    )


def sequence_set(*parts):
    return f"<component><sequenceSet>{''.join(parts)}</sequenceSet></component>"


def standard_set(**changes):
    return sequence_set(changes.get("times", times()), *(changes.get(name, lead(name)) for name in DIGITS))


def series(inside, name="RHYTHM", effective='<low value="20260302091405.250"/><high value="20260302091405.258"/>',
           before="", tag="series"):
    time = f"<effectiveTime>{effective}</effectiveTime>" if effective is not None else ""
    return f"<component><{tag}>{code(name, ACT)}{time}{before}{inside}</{tag}></component>"


PERSON = (
    "<subjectDemographicPerson><name><family>Vennel</family><given>Tove</given></name>"
    '<administrativeGenderCode code="F" codeSystem="2.16.840.1.113883.5.1"/>'
    '<birthTime value="19610430"/></subjectDemographicPerson>'
)


def document(body, person=PERSON, subject_ids='<id root="2.999.7.1" extension="LM-2071"/>',
             trial='<clinicalTrial><id root="2.999.7.2" extension="HALYARD"/></clinicalTrial>',
             root_attributes=f'xmlns="{V3}" xmlns:xsi="{XSI}"', head='<?xml version="1.0" encoding="UTF-8"?>\n',
             effective='<low value="20260302091405.250"/>', extra=""):
    trial = f"<componentOf>{trial}</componentOf>" if trial else ""
    return (
        f'{head}<AnnotatedECG {root_attributes}>\n<id root="61d1a24f-b47e-41aa-ae95-f8ac302f4eea"/>\n'
        f'{code("93000", "2.16.840.1.113883.6.12", codeSystemName="CPT-4")}\n'
        f"<effectiveTime>{effective}</effectiveTime>\n{extra}"
        "<componentOf><timepointEvent><componentOf><subjectAssignment><subject><trialSubject>"
        f"{subject_ids}{person}</trialSubject></subject>{trial}</subjectAssignment></componentOf></timepointEvent>"
        f"</componentOf>\n{body}\n</AnnotatedECG>\n"
    )


def decimal(value):
    """An exact fraction as ecgkeep prints it: a decimal where it is a finite one, else a ratio."""
    value = Fraction(value)
    places, rest = 0, value
    while rest.denominator != 1 and places < 18:
        rest *= 10
        places += 1
    if rest.denominator != 1:
        return f"{value.numerator}/{value.denominator}"
    digits = str(abs(rest.numerator)).rjust(places + 1, "0")
    text = digits[: len(digits) - places] + ("." + digits[len(digits) - places :] if places else "")
    return ("-" if value < 0 else "") + text


def lead_line(name, digits, origin=("0", "uV"), scale=("1.25", "uV"), factor=None):
    factor = factor or NANOVOLTS[scale[1]]
    origin_factor = NANOVOLTS.get(origin[1] or scale[1], factor)
    values = [Fraction(origin[0]) * origin_factor + Fraction(scale[0]) * factor * Fraction(digit) for digit in digits]
    return f"lead {name}: " + " ".join(decimal(value) for value in values)


def waveform_lines(kind="rhythm", rate=500, start="0", leads=None):
    lines = [f"waveform {kind}, {decimal(Fraction(rate))} Hz, start {start} s"]
    leads = leads if leads is not None else [lead_line(name, digits) for name, digits in DIGITS.items()]
    return lines + leads


SUBJECT_LINES = ["patient LM-2071", "name Tove Vennel", "sex female", "born 1961-04-30"]


def expected(*waveforms, start="2026-03-02T09:14:05.25", subject=tuple(SUBJECT_LINES), more=()):
    lines = [f"start {start}", *subject]
    for waveform in waveforms or [waveform_lines()]:
        lines += waveform
    return "\n".join([*lines, *more]) + "\n"


def annotation(code_text, value="", region="", inner=""):
    return f"<component><annotation>{code_text}{value}{region}{inner}</annotation></component>"


def annotation_set(*annotations, author="", activity=""):
    time = f'<activityTime value="{activity}"/>' if activity else ""
    return f"<subjectOf><annotationSet>{time}{author}{''.join(annotations)}</annotationSet></subjectOf>"


def region(time_code, value, *leads):
    boundaries = f"<component><boundary>{code(time_code, ACT)}{value}</boundary></component>" if time_code else ""
    boundaries += "".join(f"<component><boundary>{code(f'MDC_ECG_LEAD_{name}', MDC)}</boundary></component>" for name in leads)
    return (
        f'<support><supportingROI classCode="ROIBND" moodCode="EVN">{code("ROIPS", ACT)}{boundaries}</supportingROI></support>'
    )


def pq(value, unit):
    return f'<value xsi:type="PQ" value="{value}" unit="{unit}"/>'


def ce(value, system=MDC, inside=""):
    return f'<value xsi:type="CE" code="{value}" codeSystem="{system}">{inside}</value>'


DEVICE = (
    "<author><assignedEntity><assignedAuthorType><assignedDevice><manufacturerModelName>Reader</manufacturerModelName>"
    "<softwareName>5.0</softwareName><playedManufacturedDevice><manufacturerOrganization><name>Fenwright Instruments"
    "</name></manufacturerOrganization></playedManufacturedDevice></assignedDevice></assignedAuthorType>"
    "</assignedEntity></author>"
)
READER = (
    '<author><assignedEntity><id extension="LM-D-002"/><assignedAuthorType><assignedPerson><name>Dr. P. Ashgrove</name>'
    "</assignedPerson></assignedAuthorType></assignedEntity></author>"
)


def filter_variable(name, nested, value):
    return (
        f"<controlVariable><controlVariable>{code(f'MDC_ECG_CTL_VBL_ATTR_FILTER_{name}', MDC)}<component>"
        f"<controlVariable>{code(f'MDC_ECG_CTL_VBL_ATTR_FILTER_{nested}', MDC)}{value}</controlVariable></component>"
        "</controlVariable></controlVariable>"
    )


def cases():
    """Name, document, expected lines; `bad` documents have none."""
    good, departs, bad = {}, {}, {}
    plain = document(series(standard_set()))
    good["plain"] = (plain, expected())

    # 1: namespaces
    departs["no-namespace"] = (document(series(standard_set()), root_attributes=f'xmlns:xsi="{XSI}"'), expected())
    departs["wrong-namespace"] = (plain.replace(V3, "urn:hl7-org:v2"), expected())
    prefixed = plain.replace(f'xmlns="{V3}"', f'xmlns:h="{V3}"').replace("</", "\0").replace("<", "<h:")
    prefixed = prefixed.replace("\0", "</h:").replace("<h:?xml", "<?xml")
    good["prefixed-namespace"] = (prefixed, expected())
    # 2: types
    untyped = plain.replace(' xsi:type="GLIST_TS"', "").replace(' xsi:type="SLIST_PQ"', "")
    departs["no-types"] = (untyped, expected())
    good["prefixed-types"] = (plain.replace('type="GLIST', 'type="v3:GLIST').replace('type="SLIST', 'type="v3:SLIST'), expected())
    # 3: digits
    odd = lead("I", "\n 80 65 \r\n -10 \t 12\n")
    good["any-blanks"] = (document(series(standard_set(I=odd))), expected())
    departs["odd-whole-numbers"] = (document(series(standard_set(I=lead("I", "+80 6.5E1 -10.0 12")))), expected())
    decimals = [lead_line("I", ["80.5", "65", "-10.25", "12"])] + [lead_line(n, DIGITS[n]) for n in ("II", "V1")]
    departs["decimals-among-digits"] = (
        document(series(standard_set(I=lead("I", "80.5 65 -10.25 12")))), expected(waveform_lines(leads=decimals)))
    bad["commas"] = document(series(standard_set(I=lead("I", "80,65,-10,12"))))
    # 4: words among the digits
    for name, digits in [("nan", "80 NaN -10 12"), ("null", "80 65 null 12"), ("dash", "80 65 -10 -"), ("empty", "")]:
        bad[f"digits-{name}"] = document(series(standard_set(V1=lead("V1", digits))))
    bad["digit-beyond-32-bits"] = document(series(standard_set(V1=lead("V1", "1 2 3 2147483648"))))
    # 5: lengths
    bad["unequal-lengths"] = document(series(standard_set(V1=lead("V1", "1 2 3"))))
    # 6: increments
    for name, pair in [("ms", ("2", "ms")), ("us", ("2000", "us"))]:
        good[f"increment-{name}"] = (document(series(standard_set(times=times(increment=pair)))), expected())
    bad["increment-no-unit"] = document(series(standard_set(times=times(increment=("2", None)))))
    bad["increment-zero"] = document(series(standard_set(times=times(increment=("0", "s")))))
    # 7, 8, 9: origin and scale
    for name, origin, scale in [
        ("mV", ("0", "mV"), ("0.00125", "mV")),
        ("nV", ("0", "nV"), ("1250", "nV")),
        ("V", ("0", "V"), ("0.00000125", "V")),
        ("origin", ("-12.5", "uV"), ("1.25", "uV")),
        ("origin-other-unit", ("-0.0125", "mV"), ("1.25", "uV")),
        ("scale-negative", ("0", "uV"), ("-2.5", "uV")),
        ("scale-exponent", ("0", "uV"), ("1.25e0", "uV")),
        ("origin-zero-no-unit", ("0", None), ("1.25", "uV")),
    ]:
        lines = [lead_line("I", DIGITS["I"], origin, scale)] + [lead_line(n, DIGITS[n]) for n in ("II", "V1")]
        good[f"values-{name}"] = (
            document(series(standard_set(I=lead("I", origin=origin, scale=scale)))), expected(waveform_lines(leads=lines)))
    bad["scale-no-unit"] = document(series(standard_set(II=lead("II", scale=("1.25", None)))))
    bad["origin-no-unit"] = document(series(standard_set(II=lead("II", origin=("5", None)))))
    bad["scale-zero"] = document(series(standard_set(II=lead("II", scale=("0", "uV")))))
    bad["no-scale"] = document(series(standard_set(II=lead("II", scale=None))))
    bad["no-origin"] = document(series(standard_set(II=lead("II", origin=None))))
    counts = [lead_line("I", DIGITS["I"]), lead_line("II", DIGITS["II"]),
              lead_line("V1", DIGITS["V1"], ("3", None), ("2", None), factor=10**9)]
    good["whole-number-list"] = (
        document(series(standard_set(V1=lead("V1", origin=("3", None), scale=("2", None), kind=' xsi:type="SLIST_INT"')))),
        expected(waveform_lines(leads=counts)))
    # 10, 11: time sequences
    departs["no-head"] = (document(series(standard_set(times=times(with_head=False)))), expected())
    departs["no-time-sequence"] = (document(series(standard_set(times=""))), expected())
    bad["no-time-at-all"] = document(series(standard_set(times=""), effective='<low value="20260302091405.250"/>'))
    good["relative-times"] = (document(series(standard_set(times=times(absolute=False, head="0")))), expected())
    listed = sequence(code("TIME_RELATIVE", ACT),
                      '<value xsi:type="SLIST_PQ"><origin value="0" unit="s"/><scale value="2" unit="ms"/><digits>0 1 2 3</digits></value>')
    good["listed-times"] = (document(series(standard_set(times=listed))), expected())
    bad["listed-times-uneven"] = document(series(standard_set(times=listed.replace("0 1 2 3", "0 1 3 4"))))
    bad["time-period"] = document(series(standard_set(times=times(attributes=' period="4"'))))
    bad["time-denominator"] = document(series(standard_set(times=times(attributes=' denominator="2"'))))
    good["time-denominator-one"] = (document(series(standard_set(times=times(attributes=' denominator="1"')))), expected())
    # 12, 13: several series and sets
    later = series(standard_set(times=times(head="20260302091410.250")), effective='<low value="20260302091410.250"/>')
    early = series(standard_set())
    good["series-not-by-time"] = (document(later + early), expected(waveform_lines(start="5"), waveform_lines()))
    beat = series(sequence_set(times(absolute=False, head="0"), lead("I")), name="REPRESENTATIVE_BEAT", effective='<low value="20260302091405.250"/>')
    beat_lines = waveform_lines(kind="representative beat 0", leads=[lead_line("I", DIGITS["I"])])
    good["representative-beat-as-series"] = (document(early + beat), expected(waveform_lines(), beat_lines))
    derived = beat.replace("<component><series>", "<derivation><derivedSeries>", 1).replace("</series></component>", "</derivedSeries></derivation>")
    good["representative-beat-derived"] = (document(series(standard_set() + derived)), expected(waveform_lines(), beat_lines))
    second = sequence_set(times(head="20260302091405.258"), lead("V1"))
    good["several-sets"] = (document(series(standard_set() + second)), expected(
        waveform_lines(), waveform_lines(start="0.008", leads=[lead_line("V1", DIGITS["V1"])])))
    # 14, 15: times
    departs["effective-time-value"] = (
        document(series(standard_set(), effective=None, before='<effectiveTime value="20260302091405.250"/>')), expected())
    for name, head, start in [
        ("zulu", "20260302091405.25Z", "2026-03-02T09:14:05.25+00:00"),
        ("separators", "2026-03-02T09:14:05.25", "2026-03-02T09:14:05.25"),
        ("offset-colon", "20260302091405.25+01:00", "2026-03-02T09:14:05.25+01:00"),
    ]:
        departs[f"time-{name}"] = (document(series(standard_set(times=times(head=head)))), expected(start=start))
    for name, head, start in [
        ("offset-hours", "20260302091405.25+01", "2026-03-02T09:14:05.25+01:00"),
        ("offset", "20260302091405.250-0330", "2026-03-02T09:14:05.25-03:30"),
        ("one-digit", "20260302091405.2", "2026-03-02T09:14:05.2"),
        ("six-digits", "20260302091405.250001", "2026-03-02T09:14:05.250001"),
        ("minutes", "202603020914", "2026-03-02T09:14"),
    ]:
        effective = f'<low value="{head}"/>'
        good[f"time-{name}"] = (
            document(series(standard_set(times=times(head=head)), effective=effective), effective=effective), expected(start=start))
    zeros = PERSON.replace("19610430", "00000000")
    departs["birth-zeros"] = (document(early, person=zeros), expected(subject=SUBJECT_LINES[:3]))
    departs["time-zeros"] = (
        document(series(standard_set(times=times(with_head=False)), effective='<low value="00000000"/>'), effective='<center value="20260302091405.250"/>'),
        expected())
    bad["time-not-in-the-calendar"] = document(series(standard_set(times=times(head="20260230091405"))))
    # 16, 17: subject
    silent = PERSON.replace("<name>", '<name nullFlavor="NI">').replace("<family>Vennel</family><given>Tove</given>", "")
    silent = silent.replace('code="F" codeSystem="2.16.840.1.113883.5.1"', 'nullFlavor="UNK"').replace('value="19610430"', 'nullFlavor="NI"')
    good["null-flavors"] = (document(early, person=silent), expected(subject=["patient LM-2071", "sex not known"]))
    masked = silent.replace('<name nullFlavor="NI">', '<name nullFlavor="MSK">')
    good["name-masked"] = (document(early, person=masked), expected(
        subject=["patient LM-2071", "sex not known"],
        more=["extra /AnnotatedECG/componentOf/timepointEvent/componentOf/subjectAssignment/subject/trialSubject/"
              "subjectDemographicPerson/name/@nullFlavor: MSK"]))
    flavoured = PERSON.replace('value="19610430"', 'nullFlavor="MSK"').replace('code="F" codeSystem="2.16.840.1.113883.5.1"', 'nullFlavor="ASKU"')
    inner = "/AnnotatedECG/componentOf/timepointEvent/componentOf/subjectAssignment/subject/trialSubject/subjectDemographicPerson"
    good["flavors-of-silence"] = (document(early, person=flavoured), expected(
        subject=SUBJECT_LINES[:2],
        more=[f"extra {inner}/administrativeGenderCode/@nullFlavor: ASKU", f"extra {inner}/birthTime/@nullFlavor: MSK"]))
    departs["birth-no-date"] = (document(early, person=PERSON.replace("19610430", "spring")), expected(
        subject=SUBJECT_LINES[:3], more=[f'extra {inner}/birthTime: <birthTime value="spring"/>']))
    for name, text, sex in [("number", "1", "1"), ("word", "Male", "male")]:
        departs[f"gender-{name}"] = (document(early, person=PERSON.replace('code="F"', f'code="{text}"')),
                                     expected(subject=[*SUBJECT_LINES[:2], f"sex {sex}", SUBJECT_LINES[3]]))
    texted = PERSON.replace("<family>Vennel</family><given>Tove</given>", "Tove Vennel")
    good["name-as-text"] = (document(early, person=texted), expected())
    parts = PERSON.replace("<family>Vennel</family><given>Tove</given>",
                           "<prefix>Dr.</prefix><given>Tove</given><given>Lise</given><family>Vennel</family><suffix>jr.</suffix>")
    good["name-parts"] = (document(early, person=parts), expected(subject=[SUBJECT_LINES[0], "name Dr. Tove Lise Vennel jr.", *SUBJECT_LINES[2:]]))
    ids = '<id root="2.999.7.1" extension="LM-2071"/><id extension="73-11"/>'
    good["several-ids"] = (document(early, subject_ids=ids), expected(subject=["patient LM-2071", "patient 73-11", *SUBJECT_LINES[1:]]))
    # 18: filters
    corner = filter_variable("HIGH_PASS", "CUTOFF_FREQ", pq("0.05", "Hz")) + filter_variable("NOTCH", "NOTCH_FREQ", pq("50", "Hz"))
    good["filters"] = (document(series(standard_set(), before=corner)), expected(more=["high-pass 0.05", "notch 50"]))
    flat = f"<controlVariable><controlVariable>{code('MDC_ECG_CTL_VBL_ATTR_FILTER_LOW_PASS', MDC)}{pq('150', 'Hz')}</controlVariable></controlVariable>"
    departs["filter-not-nested"] = (document(series(standard_set(), before=flat)), expected(more=["low-pass 150"]))
    good["filter-zero"] = (document(series(standard_set(), before=filter_variable("HIGH_PASS", "CUTOFF_FREQ", pq("0", "Hz")))),
                           expected(more=["high-pass 0"]))
    for name, text in [("dash", "-"), ("off", "OFF")]:
        off = filter_variable("NOTCH", "NOTCH_FREQ", pq(text, "Hz"))
        departs[f"filter-{name}"] = (document(series(standard_set(), before=off)),
                                     expected(more=[f"extra /AnnotatedECG/component/series/controlVariable: {off}"]))
    # 19: annotations
    intervals = annotation_set(
        annotation(code("MDC_ECG_TIME_PD_PR", MDC), pq("0.162", "s")),
        annotation(code("MDC_ECG_TIME_PD_QT_GL", MDC), pq("391", "ms")),
        annotation(code("MDC_ECG_TIME_PD_QTcB", MDC), pq("405000", "us")),
        annotation(code("MDC_ECG_TIME_PD_QTc", MDC), pq("401", "ms")),
        annotation(code("MDC_ECG_AMPL_R", MDC), pq("1.18", "mV"), region("", "", "II")),
        author=DEVICE,
    )
    measured = ["measurement PR 0.162 s", "measurement QT 391 ms", "measurement QTc 405000 us, Bazett", "measurement QTc 401 ms",
                "measurement R amplitude, lead II 1.18 mV"]
    good["intervals"] = (document(series(standard_set() + intervals)), expected(more=measured))
    departs["beats-per-minute"] = (
        document(series(standard_set() + annotation_set(annotation(code("MDC_ECG_HEART_RATE", MDC), pq("64", "bpm"))))),
        expected(more=["measurement heart rate 64 /min"]))
    private = annotation(code("X-QTD", "2.999.9"), pq("31", "ms"))
    departs["private-code"] = (document(series(standard_set() + annotation_set(private))),
                               expected(more=[f"extra /AnnotatedECG/component/series/subjectOf/annotationSet/component: {private}"]))
    wave = annotation(code("MDC_ECG_WAVC", MDC), ce("MDC_ECG_WAVC_PWAVE"),
                      region("TIME_RELATIVE", '<value xsi:type="IVL_PQ"><low value="2" unit="ms"/><high value="4" unit="ms"/></value>'))
    beat_mark = annotation(code("MDC_ECG_BEAT", MDC), ce("MDC_ECG_BEAT_NORMAL", inside="<originalText>N</originalText>"),
                           region("TIME_ABSOLUTE", '<value xsi:type="IVL_TS"><low value="20260302091405.256"/></value>', "II"))
    good["marks"] = (document(series(standard_set() + annotation_set(wave, beat_mark))),
                     expected(more=["mark 1 P onset", "mark 2 P offset", "mark 3 beat, lead II, N"]))
    said = annotation(code("MDC_ECG_INTERPRETATION", MDC), inner=annotation(
        code("MDC_ECG_INTERPRETATION_STATEMENT", MDC), '<value xsi:type="ST">Sinus rhythm</value>'))
    read_over = annotation(code("MDC_ECG_INTERPRETATION", MDC), inner=annotation(
        code("MDC_ECG_INTERPRETATION_STATEMENT", MDC), '<value xsi:type="ST">Normal &amp; unchanged</value>'))
    sets = annotation_set(said, author=DEVICE) + annotation_set(read_over, author=READER, activity="202603021140")
    good["two-readers"] = (document(series(standard_set() + sets)), expected(
        more=["statement Sinus rhythm", "statement Normal & unchanged by Dr. P. Ashgrove (LM-D-002) at 2026-03-02T11:40"]))
    again = annotation(code("MDC_ECG_TIME_PD_QT", MDC), pq("388", "ms"))
    both = annotation_set(annotation(code("MDC_ECG_TIME_PD_QT", MDC), pq("391", "ms")), author=DEVICE) + annotation_set(
        again, read_over, author=READER)
    departs["measured-twice"] = (document(series(standard_set() + both)), expected(more=[
        "measurement QT 391 ms", "statement Normal & unchanged by Dr. P. Ashgrove (LM-D-002)",
        f"extra /AnnotatedECG/component/series/subjectOf[2]/annotationSet/component: {again}"]))
    # 20: encodings and the like
    accented = PERSON.replace("Tove", "Tové")
    accented_lines = [SUBJECT_LINES[0], "name Tové Vennel", *SUBJECT_LINES[2:]]
    text = document(early, person=accented)
    good["byte-order-mark"] = (("\ufeff" + text).encode(), expected(subject=accented_lines))
    good["utf-16"] = (text.replace('encoding="UTF-8"', 'encoding="UTF-16"').encode("utf-16"), expected(subject=accented_lines))
    good["latin-1"] = (text.replace('encoding="UTF-8"', 'encoding="ISO-8859-1"').encode("latin-1"), expected(subject=accented_lines))
    departs["says-utf-16"] = (text.replace('encoding="UTF-8"', 'encoding="UTF-16"').encode(), expected(subject=accented_lines))
    bad["not-utf-8"] = text.encode("latin-1")
    bad["doctype"] = plain.replace("<AnnotatedECG", '<!DOCTYPE AnnotatedECG [<!ENTITY x SYSTEM "file:x">]>\n<AnnotatedECG', 1)
    bad["zipped"] = b"PK\x03\x04" + bytes(26)
    bad["undeclared-entity"] = plain.replace("Vennel", "&vennel;")
    bad["cut"] = plain[: len(plain) // 2]
    bad["two-roots"] = plain + "<AnnotatedECG/>"
    bad["another-root"] = plain.replace("AnnotatedECG", "Observation")
    # 21: trial
    departs["no-trial"] = (document(early, trial=""), expected())
    good["trial-null"] = (document(early, trial='<clinicalTrial><id nullFlavor="NI"/></clinicalTrial>'), expected())
    # 22: leads
    bad["lead-twice"] = document(series(sequence_set(times(), lead("I"), lead("II"), lead("I", "1 2 3 4"))))
    avr = [lead_line("aVR", DIGITS["I"])]
    good["lead-reference"] = (document(series(sequence_set(times(), lead("AVR", "80 65 -10 12")))), expected(waveform_lines(leads=avr)))
    departs["lead-mixed-case"] = (document(series(sequence_set(times(), lead("aVR", "80 65 -10 12")))), expected(waveform_lines(leads=avr)))
    departs["lead-bare"] = (document(series(sequence_set(times(), lead("I", lead_code=code("AVR"))))), expected(waveform_lines(leads=avr)))
    departs["lead-private"] = (document(series(sequence_set(times(), lead("I", lead_code=code("CHEST-7", "2.999.8"))))), expected(
        waveform_lines(leads=[lead_line("CHEST-7", DIGITS["I"])]),
        more=["extra /AnnotatedECG/component/series/component/sequenceSet/component[2]/sequence/code/@codeSystem: 2.999.8"]))
    bad["no-series"] = document("")
    bad["no-series-code"] = document(series(standard_set()).replace(code("RHYTHM", ACT), ""))
    # 23: comments inside digits
    split = lead("I", "80 6<!-- six -->5 <?x y?>-1<![CDATA[0 1]]>2")
    good["comments-in-digits"] = (document(series(standard_set(I=split))), expected())
    # unknown elements are kept with their paths
    kept = '<confidentialityCode code="S" codeSystem="2.16.840.1.113883.5.25" displayName="sponsor blinded"/>'
    own = '<x:quality xmlns:x="urn:example:quality"><x:score>7</x:score></x:quality>'
    good["extras"] = (document(series(standard_set() + own), extra=kept), expected(
        more=[f"extra /AnnotatedECG/confidentialityCode: {kept}", f"extra /AnnotatedECG/component/series/quality: {own}"]))
    return {"good": good, "departs": departs, "bad": {name: (text, None) for name, text in bad.items()}}


def files():
    for folder, named in cases().items():
        for name, (text, lines) in named.items():
            path = FOLDER / folder / name
            yield path.with_suffix(".xml"), text.encode() if isinstance(text, str) else text
            if lines is not None:
                yield path.with_suffix(".expected"), lines.encode()


def main():
    check = sys.argv[1:] == ["--check"]
    if sys.argv[1:] and not check:
        sys.exit(__doc__)
    wanted = dict(files())
    wrong = []
    for path, content in wanted.items():
        if check:
            if not path.exists() or path.read_bytes() != content:
                wrong.append(path)
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
    for path in FOLDER.rglob("*"):
        if path.suffix in (".xml", ".expected") and path not in wanted:
            wrong.append(path)
        if path.suffix == ".txt" and path.with_suffix(".xml") not in wanted:
            wrong.append(path)
    for path in wrong:
        print(f"not as this writer has it: {path.relative_to(FOLDER)}")
    print(f"{len(wanted)} files, {len(wrong)} differ" if check else f"{len(wanted)} files written")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
