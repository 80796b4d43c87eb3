//! Counting with a memory: the Beta distribution of a share and the Dirichlet distribution of several.
//!
//! Source: any textbook of Bayesian statistics; the checks below are published (NUREG/CR-6823 and its teaching
//! material; Barber, *Bayesian Reasoning and Machine Learning*, exercise 9.1).

/// The Beta distribution of a share: as if it had been seen `yes` times and not seen `no` times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beta {
    /// Times seen, > 0.
    pub yes: f64,
    /// Times not seen, > 0.
    pub no: f64,
}

impl Beta {
    /// A share that is believed to be `mean`, as firmly as so many cases would make one believe it.
    #[must_use]
    pub fn worth(mean: f64, cases: f64) -> Self {
        Self { yes: mean * cases, no: (1.0 - mean) * cases }
    }

    /// The same after `yes` more times seen and `no` more times not seen.
    #[must_use]
    pub fn and(self, yes: f64, no: f64) -> Self {
        Self { yes: self.yes + yes, no: self.no + no }
    }

    /// The equivalent sample size: how many cases it is worth.
    #[must_use]
    pub fn cases(self) -> f64 {
        self.yes + self.no
    }

    /// The mean, a / (a + b).
    #[must_use]
    pub fn mean(self) -> f64 {
        self.yes / self.cases()
    }

    /// The standard deviation: the root of m (1 - m) / (a + b + 1).
    #[must_use]
    pub fn sd(self) -> f64 {
        libm::sqrt(self.mean() * (1.0 - self.mean()) / (self.cases() + 1.0))
    }
}

/// The Dirichlet distribution of several shares: how often each was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Dirichlet(pub Vec<f64>);

impl Dirichlet {
    /// Shares that are believed to be `means`, as firmly as so many cases would make one believe it.
    #[must_use]
    pub fn worth(means: &[f64], cases: f64) -> Self {
        Self(means.iter().map(|mean| mean * cases).collect())
    }

    /// The same after each was seen so often more.
    #[must_use]
    pub fn and(&self, counts: &[f64]) -> Self {
        Self(self.0.iter().zip(counts).map(|(alpha, n)| alpha + n).collect())
    }

    /// The mean of each share; they sum to one.
    #[must_use]
    pub fn means(&self) -> Vec<f64> {
        let all: f64 = self.0.iter().sum();
        self.0.iter().map(|alpha| alpha / all).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Beta(5.2, 160.1): mean .0315, sd .0135 (teaching material of NUREG/CR-6823); more digits by hand: 5.2 / 165.3 and
    /// the root of .0314580 * .9685420 / 166.3.
    #[test]
    fn a_published_beta_has_its_mean_and_spread() {
        let beta = Beta { yes: 5.2, no: 160.1 };
        assert!((beta.mean() - 0.0315).abs() < 5e-5 && (beta.sd() - 0.0135).abs() < 5e-5, "{beta:?}");
        assert!((beta.mean() - 0.031_458_0).abs() < 5e-8 && (beta.sd() - 0.013_535_6).abs() < 5e-8, "{}", beta.sd());
    }

    /// Jeffreys' Beta(1/2, 1/2) after x of n: (x + 1/2) / (n + 1).
    #[test]
    fn jeffreys_prior_adds_half_a_case_to_each_side() {
        let beta = Beta { yes: 0.5, no: 0.5 }.and(3.0, 9.0);
        assert!((beta.mean() - 3.5 / 13.0).abs() < 1e-15);
    }

    /// (2, 1, 1) and a case believed (.6, .3, .1): means .52, .26, .22, worked out by hand.
    #[test]
    fn a_dirichlet_counts_shares_of_cases() {
        let means = Dirichlet(vec![2.0, 1.0, 1.0]).and(&[0.6, 0.3, 0.1]).means();
        for (mean, expected) in means.iter().zip([0.52, 0.26, 0.22]) {
            assert!((mean - expected).abs() < 1e-12, "{means:?}");
        }
    }
}
