//! Exchanged chest cables, by the progression of the waves from V1 to V6.

use super::{OTHER_EXPLANATIONS, judged};
use crate::evidence::Evidence;
use crate::median_beat::correlation;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "cable-chest",
    title: "Chest cables",
    word: "cables may be exchanged",
    rule: "The shape of QRS and T changes little from one chest lead to the next. The path from V1 to V6 is the sum of one \
           minus the correlation of neighbours. WARN where exchanging two neighbours, or V1 and V3, shortens the path to \
           less than the policy's share; the pair that shortens it most is named. V5 and V6: NOTE only. NOT ASSESSED below \
           the policy's age, with electrodes placed otherwise, and where all leads show one wave, as test signals do.",
    source: "correlation of QRS-T patterns: Jekova 2013 (abstract); the path and its limit are ours",
    threshold: |policy| format!("path at most {} of the recorded one", policy.chest_path_share_at_most),
    limits: "V5 and V6 are too alike to tell, V1 and V2 often. Infarction and bundle branch block can break the progression. \
             Wrong positions of all electrodes together are not seen.",
    what_to_do: "Check the chest cables and the places of the electrodes from V1 on; compare with an earlier ECG; repeat if \
                 possible.",
    judge,
};

/// The exchanges looked for, as indices into V1 to V6.
const PAIRS: [(usize, usize); 6] = [(0, 1), (0, 2), (1, 2), (2, 3), (3, 4), (4, 5)];

/// V5 and V6: often exchanged without a trace, and alike enough to look exchanged.
const TOO_ALIKE: (usize, usize) = (4, 5);

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let judged = match judged(rule, evidence) {
        Ok(judged) => judged,
        Err(finding) => return finding,
    };
    let open = |why: &str| {
        vec![rule.finding(Verdict::NotAssessed, format!("exchange of chest cables not assessed: {why}"))]
    };
    let chest = match judged.beat.chest() {
        Ok(chest) => chest,
        Err(why) => return open(&why),
    };
    let apart =
        |a: usize, b: usize| 1.0 - correlation(chest[a].iter().copied().zip(chest[b].iter().copied()));
    let path = |order: [usize; 6]| order.windows(2).map(|pair| apart(pair[0], pair[1])).sum::<f64>();
    let recorded = path([0, 1, 2, 3, 4, 5]);
    if !recorded.is_finite() || recorded <= 0.0 {
        return open("a chest lead is flat");
    }
    let share = |(a, b): (usize, usize)| {
        let mut order = [0, 1, 2, 3, 4, 5];
        order.swap(a, b);
        path(order) / recorded
    };
    let limit = evidence.policy.chest_path_share_at_most;
    let best = PAIRS.into_iter().map(|pair| (share(pair), pair)).min_by(|a, b| a.0.total_cmp(&b.0));
    let Some((share, (a, b))) = best.filter(|(share, _)| *share < limit) else { return Vec::new() };
    let text = format!(
        "the cables of V{} and V{} may be exchanged: with them exchanged back the waves progress more evenly from V1 to V6 \
         (path {share:.2} of the recorded one, limit {limit}); {OTHER_EXPLANATIONS}{}",
        a + 1,
        b + 1,
        judged.caveat
    );
    let verdict = if (a, b) == TOO_ALIKE { Verdict::Note } else { Verdict::Warn };
    vec![Finding {
        measured: quantity(share, 2, "1"),
        threshold: quantity(limit, 2, "1"),
        ..rule.finding(verdict, text)
    }]
}
