//! Every WARN and FAIL on a real recording, judged by looking at its tracing.

/// What was seen, and whether the finding is right. `None` for what nobody has looked at yet.
pub fn judgement(record: &str, code: &str) -> Option<&'static str> {
    let set = record.split(' ').next().unwrap_or_default();
    Some(match (set, record, code) {
        (_, _, "identity-two-identifiers" | "identity-operator" | "identity-time") => {
            "right: the data sets carry no identity"
        }
        ("ludb", _, "einthoven" | "goldberger") => {
            "right: the declared gains contradict each other, the counts fit (see above)"
        }
        (_, "ptbxl 17", "baseline-step") => {
            "right: at 1.3 s the baseline of V4 jumps by about 1 mV, between two beats"
        }
        (_, "ptbxl 17", "baseline-wander") => {
            "right: the same jump and a slow drift; rapid atrial flutter makes it no smaller"
        }
        (_, "ptbxl 50" | "ptbxl 222" | "ptbxl 490", "baseline-wander") => {
            "right: a slow drift, plain to the eye"
        }
        (_, "ptbxl 180", "amplitude-range") => {
            "FALSE ALARM: S waves of 5.6 mV in V2 and V3, left bundle branch block; the recording holds them whole"
        }
        (_, "ptb s0010_re", "duration") => "right: 38 s, no ten-second strip",
        _ => return None,
    })
}
