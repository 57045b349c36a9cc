//! Table files (RFC 4180) that no spreadsheet takes for formulas.

/// Rows as text: fields quoted where they must be, lines ended with CR LF. A cell a spreadsheet would reckon (it begins
/// with `=`, `+`, `-`, `@`, a tab or a carriage return) gets an apostrophe in front, so a name stays a name
/// (OWASP, "CSV Injection").
pub fn text(rows: &[Vec<String>]) -> String {
    let mut out = String::new();
    for row in rows {
        let cells: Vec<String> = row.iter().map(|c| cell(c)).collect();
        out.push_str(&cells.join(","));
        out.push_str("\r\n");
    }
    out
}

fn cell(raw: &str) -> String {
    let starts = raw.trim_start_matches(' ').chars().next();
    let reckoned = starts
        .is_some_and(|c| matches!(c, '=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠'));
    let safe = if reckoned { format!("'{raw}") } else { raw.to_string() };
    if safe.contains([',', '"', '\r', '\n', ';', '\t']) || reckoned {
        format!("\"{}\"", safe.replace('"', "\"\""))
    } else {
        safe
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // OWASP, "CSV Injection": the leading characters, and quoting with doubled quotes.
    #[test]
    fn no_cell_is_a_formula() {
        for front in ["=", "+", "-", "@", "\t", "\r"] {
            let made = text(&[vec![format!("{front}HYPERLINK(\"x\")"), "fine".into()]]);
            assert!(made.starts_with("\"'"), "{made}");
            assert!(made.ends_with(",fine\r\n"));
        }
        assert!(text(&[vec!["  =1+1".into()]]).starts_with("\"'  ="));
        assert_eq!(text(&[vec!["Nerys A.".into(), "5 g".into()]]), "Nerys A.,5 g\r\n");
        assert_eq!(text(&[vec!["a,b".into(), "c\"d".into()]]), "\"a,b\",\"c\"\"d\"\r\n");
    }
}
