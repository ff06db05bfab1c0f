//! Small statistics over microvolts, all of linear cost.

use std::cmp::Ordering;

/// The median (the mean of the two middle values), NaN left out; NaN where nothing is left. Reorders `values`.
pub(crate) fn median(values: &mut Vec<f64>) -> f64 {
    if values.iter().any(|value| value.is_nan()) {
        values.retain(|value| !value.is_nan());
    }
    let (middle, is_odd) = (values.len() / 2, values.len() % 2 == 1);
    if values.is_empty() {
        return f64::NAN;
    }
    // None of them is NaN.
    let ascending = |a: &f64, b: &f64| a.partial_cmp(b).unwrap_or(Ordering::Equal);
    let (low, upper, _) = values.select_nth_unstable_by(middle, ascending);
    let upper = *upper;
    if is_odd {
        return upper;
    }
    let lower = low.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    f64::midpoint(lower, upper)
}

/// Up to this many rows are put in order side by side.
const FEW_ROWS: usize = 16;

/// The [`median`] of each column of rows of `width` values.
pub(crate) fn medians(mut rows: Vec<Vec<f64>>, width: usize) -> Vec<f64> {
    if rows.len() > FEW_ROWS {
        let mut column = Vec::with_capacity(rows.len());
        let one = |at: usize| {
            column.clear();
            column.extend(rows.iter().map(|row| row[at]));
            median(&mut column)
        };
        return (0..width).map(one).collect();
    }
    let mut present = vec![0usize; width];
    for row in &mut rows {
        for (value, present) in row.iter_mut().zip(&mut present) {
            *present += usize::from(!value.is_nan());
            // What is missing goes to the end of its column.
            *value = if value.is_nan() { f64::INFINITY } else { *value };
        }
    }
    // Neighbours change places until all columns ascend: the processor takes several columns at once.
    for round in 0..rows.len() {
        for pair in rows[round % 2..].chunks_exact_mut(2) {
            let [upper, lower] = pair else { continue };
            for (a, b) in upper.iter_mut().zip(lower) {
                (*a, *b) = (if *b < *a { *b } else { *a }, if *b < *a { *a } else { *b });
            }
        }
    }
    let middle = |(at, n): (usize, &usize)| match n {
        0 => f64::NAN,
        n => f64::midpoint(rows[(n - 1) / 2][at], rows[n / 2][at]),
    };
    present.iter().enumerate().map(middle).collect()
}

/// The centred moving average over `width` samples (the two ends at half weight where that is even), over fewer
/// at the ends of the series. `values` holds no NaN.
pub(crate) fn moving_average(values: &[f64], width: usize) -> Vec<f64> {
    let (n, half) = (values.len(), width.max(1) / 2);
    if half == 0 {
        return values.to_vec();
    }
    let end_weight = if width.is_multiple_of(2) { 0.5 } else { 1.0 };
    let sums = running_sums(values);
    // The samples closer than `half` at full weight, the two at `half` at the weight of the ends.
    let at = |index: usize| {
        let (from, to) = ((index + 1).saturating_sub(half), (index + half).min(n));
        let (mut sum, mut weight) = (sums[to] - sums[from], count(to - from));
        for end in [index.checked_sub(half), Some(index + half)].into_iter().flatten() {
            if let Some(value) = values.get(end) {
                sum += end_weight * value;
                weight += end_weight;
            }
        }
        sum / weight
    };
    if n <= 2 * half {
        return (0..n).map(at).collect();
    }
    let mut averages: Vec<f64> = Vec::with_capacity(n);
    averages.extend((0..half).map(at));
    // The same where both ends are inside, written so that it needs no decisions.
    let share = 1.0 / (count(2 * half - 1) + 2.0 * end_weight);
    let inner = sums[2 * half..].iter().zip(&sums[1..]).map(|(to, from)| to - from);
    let ends = values.iter().zip(&values[2 * half..]).map(|(left, right)| end_weight * (left + right));
    averages.extend(ends.zip(inner).map(|(ends, inner)| (ends + inner) * share));
    averages.extend((n - half..n).map(at));
    averages
}

/// The sums of the first 0, 1, 2, ... values. Four steps at a time, so that not every sum waits for the one before.
fn running_sums(values: &[f64]) -> Vec<f64> {
    let mut sums = vec![0.0; values.len() + 1];
    let (mut sum, fours) = (0.0, values.chunks_exact(4));
    let (mut to, rest) = (sums[1..].chunks_exact_mut(4), fours.remainder());
    for (four, to) in fours.zip(&mut to) {
        let (two, three) = (four[0] + four[1], four[0] + four[1] + four[2]);
        let all = two + (four[2] + four[3]);
        to.copy_from_slice(&[sum + four[0], sum + two, sum + three, sum + all]);
        sum += all;
    }
    for (value, to) in rest.iter().zip(to.into_remainder()) {
        sum += value;
        *to = sum;
    }
    sums
}

/// From lowest to highest, as a pair; infinities the wrong way round where there is no value. In eight parts so that the
/// processor can take them side by side.
pub(crate) fn ends(values: &[f64]) -> (f64, f64) {
    let (mut low, mut high) = ([f64::INFINITY; 8], [f64::NEG_INFINITY; 8]);
    let eights = values.chunks_exact(8);
    let rest = eights.remainder();
    for eight in eights {
        for lane in 0..8 {
            low[lane] = if eight[lane] < low[lane] { eight[lane] } else { low[lane] };
            high[lane] = if eight[lane] > high[lane] { eight[lane] } else { high[lane] };
        }
    }
    let of = |values: &[f64], first: f64, take: fn(f64, f64) -> f64| values.iter().copied().fold(first, take);
    let low = of(rest, of(&low, f64::INFINITY, f64::min), f64::min);
    (low, of(rest, of(&high, f64::NEG_INFINITY, f64::max), f64::max))
}

/// The sum of the products, in eight parts so that the processor can take them side by side.
pub(crate) fn product(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 8];
    let (a_parts, b_parts) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f64 = a_parts.remainder().iter().zip(b_parts.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in a_parts.zip(b_parts) {
        for lane in 0..8 {
            sums[lane] += x[lane] * y[lane];
        }
    }
    sums.iter().sum::<f64>() + rest
}

/// The values with every NaN replaced by the last value before it (the first value, at the start); zeros where
/// there is no value at all.
pub(crate) fn gaps_held(values: &[f64]) -> Vec<f64> {
    let first = values.iter().copied().find(|value| !value.is_nan()).unwrap_or(0.0);
    let mut last = first;
    let hold = |value: &f64| {
        if !value.is_nan() {
            last = *value;
        }
        last
    };
    values.iter().map(hold).collect()
}

/// A count as a number.
#[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^53")]
pub(crate) fn count(n: usize) -> f64 {
    n as f64
}

/// Mean, root mean square about the mean, root mean square and largest magnitude; NaN left out.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Spread {
    pub n: usize,
    pub mean: f64,
    pub deviation: f64,
    pub rms: f64,
    pub largest: f64,
}

impl Spread {
    pub fn of(values: impl Iterator<Item = f64> + Clone) -> Spread {
        let (mut n, mut sum, mut squares, mut largest) = (0usize, 0.0, 0.0, 0.0f64);
        for value in values.clone().filter(|value| !value.is_nan()) {
            n += 1;
            sum += value;
            squares += value * value;
            largest = largest.max(value.abs());
        }
        if n == 0 {
            return Spread::default();
        }
        let mean = sum / count(n);
        let about: f64 = values.filter(|value| !value.is_nan()).map(|value| (value - mean).powi(2)).sum();
        Spread { n, mean, deviation: (about / count(n)).sqrt(), rms: (squares / count(n)).sqrt(), largest }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition, sample by sample.
    fn slow_average(values: &[f64], width: usize) -> Vec<f64> {
        let half = i64::try_from(width / 2).unwrap();
        let one = |index: usize| {
            let (mut sum, mut weight) = (0.0, 0.0);
            for offset in -half..=half {
                let at = i64::try_from(index).unwrap() + offset;
                if let Some(value) = usize::try_from(at).ok().and_then(|at| values.get(at)) {
                    let share = if width.is_multiple_of(2) && offset.abs() == half { 0.5 } else { 1.0 };
                    sum += share * value;
                    weight += share;
                }
            }
            sum / weight
        };
        (0..values.len()).map(one).collect()
    }

    #[test]
    fn a_moving_average_is_the_weighted_mean_around_each_sample() {
        let values: Vec<f64> = (0..40).map(|index| f64::from((index * 37) % 23)).collect();
        for width in [1, 2, 3, 4, 7, 10, 39, 40, 41, 80, 500] {
            let expected = slow_average(&values, width);
            for (a, b) in moving_average(&values, width).iter().zip(&expected) {
                assert!((a - b).abs() < 1e-9, "{width}: {a} {b}");
            }
        }
        assert!(moving_average(&[], 5).is_empty());
    }

    #[test]
    fn an_even_moving_average_removes_its_period() {
        // ten samples of a sine of ten samples' period
        let values: Vec<f64> =
            (0..100).map(|n| (f64::from(n) * std::f64::consts::TAU / 10.0).sin()).collect();
        assert!(moving_average(&values, 10)[5..95].iter().all(|value| value.abs() < 1e-12));
    }

    #[test]
    fn a_median_leaves_out_what_is_missing() {
        assert_eq!(median(&mut vec![3.0, f64::NAN, 1.0]), 2.0);
        assert_eq!(median(&mut vec![3.0, 9.0, 1.0]), 3.0);
        assert!(median(&mut vec![f64::NAN]).is_nan());
    }

    #[test]
    fn the_medians_of_columns_are_those_of_each_column() {
        for n in 0..40usize {
            let value = |row: usize, at: usize| match (row * 31 + at * 17) % 23 {
                0 => f64::NAN,
                some => count(some) - 11.0,
            };
            let rows: Vec<Vec<f64>> = (0..n).map(|row| (0..7).map(|at| value(row, at)).collect()).collect();
            let middles = medians(rows, 7);
            for (at, middle) in middles.iter().enumerate() {
                let mut sorted: Vec<f64> =
                    (0..n).map(|row| value(row, at)).filter(|value| !value.is_nan()).collect();
                sorted.sort_by(f64::total_cmp);
                match sorted.len() {
                    0 => assert!(middle.is_nan()),
                    of => {
                        assert_eq!(*middle, f64::midpoint(sorted[(of - 1) / 2], sorted[of / 2]), "{n} rows")
                    }
                }
            }
        }
    }

    #[test]
    fn sums_products_and_ends_are_those_of_one_after_the_other() {
        for n in 0..40usize {
            let values: Vec<f64> = (0..n).map(|index| count((index * 37) % 23) - 11.0).collect();
            let others: Vec<f64> = (0..n).map(|index| count((index * 5) % 7)).collect();
            // Whole numbers: the order of the additions makes no difference.
            let sums: Vec<f64> = (0..=n).map(|to| values[..to].iter().sum()).collect();
            assert_eq!(running_sums(&values), sums);
            assert_eq!(
                product(&values, &others),
                values.iter().zip(&others).map(|(x, y)| x * y).sum::<f64>()
            );
            let (low, high) = ends(&values);
            assert_eq!(low, values.iter().copied().fold(f64::INFINITY, f64::min));
            assert_eq!(high, values.iter().copied().fold(f64::NEG_INFINITY, f64::max));
        }
    }

    #[test]
    fn gaps_hold_the_last_value() {
        assert_eq!(gaps_held(&[f64::NAN, 2.0, f64::NAN, 3.0]), [2.0, 2.0, 2.0, 3.0]);
        assert_eq!(gaps_held(&[f64::NAN]), [0.0]);
    }
}
