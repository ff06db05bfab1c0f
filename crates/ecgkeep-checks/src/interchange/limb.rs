//! Exchanged limb cables, by the direction of the P wave and of lead V6.

use super::{OTHER_EXPLANATIONS, apart_deg, judged};
use crate::constants::{P_AXIS_DEG, V6_AXIS_DEG};
use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "cable-limb",
    title: "Arm and leg cables",
    word: "cables may be exchanged",
    rule: "Two directions in the frontal plane, that of the P wave and that in which the limb leads show what lead V6 shows \
           (V6 stays where it is when limb cables are exchanged). Each exchange of two or three of the cables right arm, \
           left arm and left leg turns both in a known way. WARN where, turned back, both directions come nearer to the \
           usual ones by more than the policy's degrees; the exchange that fits best is named. NOT ASSESSED \
           without a clear P wave, below the policy's age, with electrodes placed otherwise, and where all leads show one \
           wave, as test signals do.",
    source: "transformations: exact algebra (Krasteva, Jekova and Schmid, Sensors 2019;19:2920 derive the same); P signs: \
             Batchvarov, Malik and Camm, Europace 2007 (abstract); comparison with V6: Kors and van Herpen 2001, Figueroa \
             2023 (abstracts); the combination is ours",
    threshold: |policy| format!("both directions nearer by {} degrees", policy.cable_turn_deg_at_least),
    limits: "Exchange of left arm and left leg, and of the two leg cables, is not reliably detectable and not looked for. \
             Ectopic atrial rhythm, dextrocardia and right ventricular hypertrophy can look so. Not validated for children.",
    what_to_do: "Check the limb cables from the electrodes on; compare with an earlier ECG; repeat if possible. Never turn \
                 leads back in the archive.",
    judge,
};

/// An exchange that turns the frontal plane: mirrored, or turned by 120 degrees.
struct Exchange {
    words: &'static str,
    /// The true direction for one as recorded.
    undo: fn(f64) -> f64,
}

/// RA/LA maps a direction t to 180 - t, RA/LL to -60 - t; the two rotations add and subtract 120 degrees (exact
/// algebra, equilateral triangle). LA/LL (60 - t) leaves the usual directions usual and is left out.
const EXCHANGES: [Exchange; 4] = [
    Exchange { words: "the right arm and left arm cables", undo: |t| 180.0 - t },
    Exchange { words: "the right arm and left leg cables", undo: |t| -60.0 - t },
    Exchange {
        words: "all three (right arm on left arm, left arm on left leg, left leg on right arm)",
        undo: |t| t + 120.0,
    },
    Exchange {
        words: "all three (right arm on left leg, left arm on right arm, left leg on left arm)",
        undo: |t| t - 120.0,
    },
];

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let judged = match judged(rule, evidence) {
        Ok(judged) => judged,
        Err(finding) => return finding,
    };
    let open = |why: &str| {
        vec![
            rule.finding(Verdict::NotAssessed, format!("exchange of arm and leg cables not assessed: {why}")),
        ]
    };
    let Some(p) = judged.beat.p_wave() else { return open("no clear P wave") };
    let v6 = match judged.beat.v6_direction() {
        Ok(v6) => v6,
        Err(why) => return open(&why),
    };
    let p_axis = p.axis_deg();
    let off = |p_axis: f64, v6: f64| (apart_deg(p_axis, P_AXIS_DEG), apart_deg(v6, V6_AXIS_DEG));
    let recorded = off(p_axis, v6);
    let undone = |exchange: &Exchange| off((exchange.undo)(p_axis), (exchange.undo)(v6));
    let nearer = |exchange: &Exchange| (recorded.0 - undone(exchange).0).min(recorded.1 - undone(exchange).1);
    let left = |exchange: &Exchange| undone(exchange).0 + undone(exchange).1;
    let limit = evidence.policy.cable_turn_deg_at_least;
    let suspected = EXCHANGES.iter().filter(|exchange| nearer(exchange) > limit);
    let Some(exchange) = suspected.min_by(|a, b| left(a).total_cmp(&left(b))) else { return Vec::new() };
    let text = format!(
        "the limb cables may be exchanged, most like {}: P wave (I {:.0} uV, II {:.0} uV) at {p_axis:.0} degrees and lead V6 \
         at {v6:.0} degrees, usually {P_AXIS_DEG:.0} and {V6_AXIS_DEG:.0}; exchanged back, both come nearer to that by {:.0} \
         degrees or more, limit {limit}; {OTHER_EXPLANATIONS}{}",
        exchange.words,
        p.one_uv,
        p.two_uv,
        nearer(exchange),
        judged.caveat
    );
    vec![Finding {
        measured: quantity(nearer(exchange), 0, "deg"),
        threshold: quantity(limit, 0, "deg"),
        ..rule.finding(Verdict::Warn, text)
    }]
}
