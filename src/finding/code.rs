//! Tables of codes: what each means, why it matters, what to do.

/// One code. Once given, it keeps its meaning.
#[derive(Clone, Copy, Debug)]
pub struct Code {
    /// `K014`: a letter for what is complained about, and a number.
    pub code: &'static str,
    /// What is wrong, in a few words.
    pub means: &'static str,
    /// What to do about it.
    pub mend: &'static str,
    /// Why it matters, in sentences; empty where what is wrong says it.
    pub why: &'static str,
}

/// Makes a constant of each code and `ALL`, the table, in ascending order: `NAME = "K014", "what is wrong", "what to do";`
/// and, where it takes saying, `"Why it matters."` after that.
macro_rules! codes {
    ($($name:ident = $code:literal, $means:literal, $mend:literal $(, $why:literal)?;)*) => {
        $(#[doc = concat!("`", $code, "`: ", $means, ".")] pub const $name: &str = $code;)*

        /// Every code, in order.
        pub const ALL: &[$crate::finding::Code] = &[$($crate::finding::Code {
            code: $code,
            means: $means,
            mend: $mend,
            why: concat!($($why)?),
        }),*];

        #[cfg(test)]
        #[test]
        fn codes_are_unique_and_in_order() {
            assert!(ALL.windows(2).all(|pair| pair[0].code < pair[1].code));
        }
    };
}

pub(crate) use codes;
