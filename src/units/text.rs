//! Letters of a text, as far as a screen, a page and a file must agree about them.

/// Whether a character is text: neither a control character nor one that turns the direction of what stands around it, which
/// can make a line read otherwise than it is (Unicode Technical Report 36, bidirectional text spoofing).
#[must_use]
pub fn is_printable(c: char) -> bool {
    !c.is_control() && !matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_turns_a_line_around_is_no_text() {
        for c in ['\u{1b}', '\u{7f}', '\u{202a}', '\u{202e}', '\u{2066}', '\u{2069}'] {
            assert!(!is_printable(c), "{c:?}");
        }
        // Letters that run from right to left do so by themselves.
        assert!("Öl 5 kΩ “good” שלום".chars().all(is_printable));
    }
}
