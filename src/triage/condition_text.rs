//! From a condition as written to one that can be asked: syntax by the CEL parser, names and kinds by the dictionary.

use cel::common::ast::CallExpr;
use cel::common::ast::Expr;
use cel::common::ast::IdedExpr;
use cel::common::ast::LiteralValue;
use cel::common::ast::SourceInfo;
use cel::common::ast::operators;
use cel::parser::Parser;

use crate::triage::condition::ConditionFault;
use crate::triage::condition::Is;
use crate::triage::condition::Node;
use crate::triage::condition::Term;
use crate::triage::dictionary::FactId;
use crate::triage::dictionary::Kind;
use crate::triage::dictionary::Unit;
use crate::triage::limits::Limits;

/// Longer conditions are refused: nobody could check one by reading it.
const LONGEST_CHARS: usize = 1000;
/// Deeper nesting is refused, by the parser itself.
const DEEPEST: u16 = 40;

/// What a limit is spoken of as: `limit.fever_c`.
const LIMIT: &str = "limit";

pub(super) fn parse(text: &str, limits: &Limits) -> Result<Node, ConditionFault> {
    if text.chars().count() > LONGEST_CHARS {
        let why = format!("is longer than {LONGEST_CHARS} characters");
        return Err(ConditionFault { column: 1, why });
    }
    if text.contains(['\n', '\r']) {
        return Err(ConditionFault { column: 1, why: "must be on one line".to_owned() });
    }
    let parser = Parser::new().max_recursion_depth(DEEPEST);
    match parser.parse_with_source_info(text) {
        Ok((written, source)) => Reader { source, limits }.condition(&written),
        Err(faults) => {
            let first = faults.errors.first();
            let column = first.map_or(1, |fault| usize::try_from(fault.pos.1).unwrap_or(1).max(1));
            let why = first.map_or("cannot be read", |fault| fault.msg.as_str());
            Err(ConditionFault { column, why: format!("cannot be read: {}", why.trim()) })
        }
    }
}

struct Reader<'a> {
    source: SourceInfo,
    limits: &'a Limits,
}

impl Reader<'_> {
    fn fault<T>(&self, at: &IdedExpr, why: String) -> Result<T, ConditionFault> {
        // The parser places `limit.name` at its dot; a reader looks for its beginning.
        let at = match &at.expr {
            Expr::Select(select) => &select.operand,
            _ => at,
        };
        let column = self.source.offset_for(at.id).map_or(1, |(start, _)| start as usize + 1);
        Err(ConditionFault { column, why })
    }

    fn condition(&self, written: &IdedExpr) -> Result<Node, ConditionFault> {
        match &written.expr {
            Expr::Ident(name) => self.flag(written, name),
            Expr::Call(call) if call.target.is_none() => self.call(written, call),
            Expr::Call(_)
            | Expr::Unspecified
            | Expr::Comprehension(_)
            | Expr::List(_)
            | Expr::Literal(_)
            | Expr::Map(_)
            | Expr::Select(_)
            | Expr::Struct(_) => self.fault(written, "is no condition".to_owned()),
        }
    }

    fn flag(&self, written: &IdedExpr, name: &str) -> Result<Node, ConditionFault> {
        let (fact, kind) = self.fact(written, name)?;
        match kind {
            Kind::Flag => Ok(Node::Flag(fact)),
            Kind::Number { .. } => self.fault(written, format!("`{name}` is a number: compare it")),
            Kind::Word(_) => self.fault(written, format!("`{name}` is a word: compare it")),
        }
    }

    fn call(&self, written: &IdedExpr, call: &CallExpr) -> Result<Node, ConditionFault> {
        let all = |reader: &Reader<'_>| -> Result<Vec<Node>, ConditionFault> {
            call.args.iter().map(|part| reader.condition(part)).collect()
        };
        match (call.func_name.as_str(), call.args.as_slice()) {
            (operators::LOGICAL_AND, _) => Ok(Node::All(all(self)?)),
            (operators::LOGICAL_OR, _) => Ok(Node::Any(all(self)?)),
            (operators::LOGICAL_NOT, [part]) => Ok(Node::Not(Box::new(self.condition(part)?))),
            ("sure", [part]) => Ok(Node::Sure(Box::new(self.condition(part)?))),
            ("known", [IdedExpr { expr: Expr::Ident(name), .. }]) => {
                Ok(Node::Known(self.fact(&call.args[0], name)?.0))
            }
            ("known", _) => self.fault(written, "`known` takes the name of one fact".to_owned()),
            (operators::IN, [left, right]) => self.word_in(left, right),
            (operators::EQUALS, [left, right]) => self.equal(written, left, right),
            (operators::NOT_EQUALS, [left, right]) => {
                Ok(Node::Not(Box::new(self.equal(written, left, right)?)))
            }
            (operators::GREATER, [left, right]) => self.compare(left, Is::Above, right),
            (operators::GREATER_EQUALS, [left, right]) => self.compare(left, Is::AtLeast, right),
            (operators::LESS, [left, right]) => self.compare(right, Is::Above, left),
            (operators::LESS_EQUALS, [left, right]) => self.compare(right, Is::AtLeast, left),
            (other, _) => self.fault(written, format!("`{other}` cannot be used in a condition")),
        }
    }

    fn fact(&self, written: &IdedExpr, name: &str) -> Result<(FactId, Kind), ConditionFault> {
        match FactId::named(name) {
            Some(id) => Ok((id, id.fact().kind)),
            None => self.fault(written, format!("`{name}` is no fact")),
        }
    }

    fn equal(&self, at: &IdedExpr, left: &IdedExpr, right: &IdedExpr) -> Result<Node, ConditionFault> {
        match (&left.expr, &right.expr) {
            (Expr::Ident(name), Expr::Literal(LiteralValue::String(word))) => {
                let words = [(right, word.inner())];
                self.words(left, name, &words)
            }
            (Expr::Ident(_), Expr::Literal(LiteralValue::Boolean(is))) => {
                let flag = self.condition(left)?;
                Ok(if *is.inner() { flag } else { Node::Not(Box::new(flag)) })
            }
            (Expr::Ident(_), Expr::Literal(_) | Expr::Ident(_) | Expr::Select(_)) => {
                self.compare(left, Is::Equal, right)
            }
            _ => self.fault(at, "compare a fact with a word, a number or another fact".to_owned()),
        }
    }

    fn word_in(&self, left: &IdedExpr, right: &IdedExpr) -> Result<Node, ConditionFault> {
        let Expr::Ident(name) = &left.expr else {
            return self.fault(left, "only a fact can be in a list of words".to_owned());
        };
        let Expr::List(list) = &right.expr else {
            return self.fault(right, "`in` takes a list of words".to_owned());
        };
        let mut words = Vec::new();
        for element in &list.elements {
            match &element.expr {
                Expr::Literal(LiteralValue::String(word)) => words.push((element, word.inner())),
                _ => return self.fault(element, "`in` takes a list of words".to_owned()),
            }
        }
        if words.is_empty() {
            return self.fault(right, "the list is empty".to_owned());
        }
        self.words(left, name, &words)
    }

    fn words(
        &self,
        at: &IdedExpr,
        name: &str,
        written: &[(&IdedExpr, &str)],
    ) -> Result<Node, ConditionFault> {
        let (fact, kind) = self.fact(at, name)?;
        let Kind::Word(allowed) = kind else {
            return self.fault(at, format!("`{name}` is not a word"));
        };
        let mut words = Vec::new();
        for (place, word) in written {
            match allowed.iter().find(|allowed| *allowed == word) {
                Some(word) => words.push(*word),
                None => {
                    return self.fault(place, format!("`{name}` is one of: {}", allowed.join(", ")));
                }
            }
        }
        Ok(Node::WordIn { fact, words })
    }

    fn compare(&self, left: &IdedExpr, is: Is, right: &IdedExpr) -> Result<Node, ConditionFault> {
        let (left_term, left_unit) = self.term(left)?;
        let (right_term, right_unit) = self.term(right)?;
        if let (Some(one), Some(other)) = (left_unit, right_unit)
            && one != other
        {
            let why = format!("is in {}, compared with something in {}", other.code(), one.code());
            return self.fault(right, why);
        }
        Ok(Node::Compare { left: left_term, is, right: right_term })
    }

    /// One side of a comparison, with its unit; a bare number has none.
    fn term(&self, written: &IdedExpr) -> Result<(Term, Option<Unit>), ConditionFault> {
        match &written.expr {
            Expr::Ident(name) => match self.fact(written, name)? {
                (fact, Kind::Number { unit, .. }) => Ok((Term::Fact(fact), Some(unit))),
                (_, Kind::Flag | Kind::Word(_)) => self.fault(written, format!("`{name}` is not a number")),
            },
            Expr::Literal(LiteralValue::Int(number)) => Ok((Term::Number(*number.inner() as f64), None)),
            Expr::Literal(LiteralValue::Double(number)) if number.inner().is_finite() => {
                Ok((Term::Number(*number.inner()), None))
            }
            Expr::Select(select) => match &select.operand.expr {
                Expr::Ident(name) if name == LIMIT && !select.test => self.limit(written, &select.field),
                _ => self.fault(written, "is not a number, a fact or a limit".to_owned()),
            },
            _ => self.fault(written, "is not a number, a fact or a limit".to_owned()),
        }
    }

    fn limit(&self, written: &IdedExpr, id: &str) -> Result<(Term, Option<Unit>), ConditionFault> {
        match self.limits.all().iter().enumerate().find(|(_, limit)| limit.id == id) {
            Some((place, limit)) => Ok((Term::Limit { place, value: limit.value }, Some(limit.unit))),
            None => self.fault(written, format!("`limit.{id}` is no limit of this protocol")),
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use crate::triage::Protocol;
    use crate::triage::condition::Condition;
    use crate::triage::facts::Facts;
    use crate::triage::truth::Truth;

    fn asked(text: &str, given: &str) -> Truth {
        let limits = Protocol::built_in().limits();
        let facts = Facts::from_json(&serde_json::from_str(given).unwrap()).unwrap();
        Condition::parse(text, limits).unwrap().holds(&facts.completed(limits))
    }

    fn refused(text: &str) -> String {
        Condition::parse(text, Protocol::built_in().limits()).unwrap_err().to_string()
    }

    #[test]
    fn a_mistake_in_a_condition_is_named_with_its_column() {
        assert_eq!(refused("tempc >= 38.0"), "column 1: `tempc` is no fact");
        assert_eq!(refused("chills && pus == 'green'"), "column 18: `pus` is one of: none, thin, thick");
        assert_eq!(refused("temp_c"), "column 1: `temp_c` is a number: compare it");
        assert_eq!(refused("chills > 3"), "column 1: `chills` is not a number");
        assert_eq!(refused("pus > 3"), "column 1: `pus` is not a number");
        assert_eq!(refused("temp_c == 'hot'"), "column 1: `temp_c` is not a word");
        assert_eq!(refused("known(3)"), "column 6: `known` takes the name of one fact");
        assert_eq!(refused("pain + 1 > 3"), "column 6: is not a number, a fact or a limit");
        assert_eq!(
            refused("temp_c > limit.fever_k"),
            "column 10: `limit.fever_k` is no limit of this protocol"
        );
        assert_eq!(
            refused("temp_c > limit.rim_cm"),
            "column 10: is in cm, compared with something in celsius"
        );
        assert_eq!(refused("hr > temp_c"), "column 6: is in celsius, compared with something in per_minute");
        assert!(refused("chills and warm").starts_with("column 8: cannot be read"));
        assert_eq!(refused("chills &&\nwarm"), "column 1: must be on one line");
        assert!(refused("").contains("cannot be read"));
    }

    #[test]
    fn a_condition_thinks_in_yes_no_and_not_known() {
        assert_eq!(asked("chills || warm", r#"{"warm":true}"#), Truth::True);
        assert_eq!(asked("chills || warm", r#"{"warm":false}"#), Truth::Unknown);
        assert_eq!(asked("chills && warm", r#"{"warm":false}"#), Truth::False);
        assert_eq!(asked("!chills", "{}"), Truth::Unknown);
        assert_eq!(asked("known(chills)", "{}"), Truth::False);
        assert_eq!(asked("!sure(chills)", "{}"), Truth::True);
        assert_eq!(asked("!sure(chills)", r#"{"chills":true}"#), Truth::False);
        assert_eq!(asked("chills == false", r#"{"chills":false}"#), Truth::True);
        assert_eq!(asked("pus != 'thick'", r#"{"pus":"thin"}"#), Truth::True);
        assert_eq!(asked("pus in ['thin', 'thick']", r#"{"pus":"none"}"#), Truth::False);
    }

    #[test]
    fn numbers_compare_on_both_sides_of_their_limit() {
        for (text, below, at, above) in [
            ("pain > 5", Truth::False, Truth::False, Truth::True),
            ("pain >= 5", Truth::False, Truth::True, Truth::True),
            ("pain < 5", Truth::True, Truth::False, Truth::False),
            ("pain <= 5", Truth::True, Truth::True, Truth::False),
            ("pain == 5", Truth::False, Truth::True, Truth::False),
            ("pain != 5.0", Truth::True, Truth::False, Truth::True),
        ] {
            assert_eq!(asked(text, r#"{"pain":4}"#), below, "{text}");
            assert_eq!(asked(text, r#"{"pain":5}"#), at, "{text}");
            assert_eq!(asked(text, r#"{"pain":6}"#), above, "{text}");
            assert_eq!(asked(text, "{}"), Truth::Unknown, "{text}");
        }
    }

    #[test]
    fn a_bounded_limit_decides_only_outside_its_bounds() {
        assert_eq!(asked("red_cm > red_limit", r#"{"red_cm":2.0}"#), Truth::False);
        assert_eq!(asked("red_cm > red_limit", r#"{"red_cm":2.2}"#), Truth::Unknown);
        assert_eq!(asked("red_cm > red_limit", r#"{"red_cm":2.6}"#), Truth::True);
    }

    proptest! {
        #[test]
        fn no_text_makes_the_reader_panic(text in "[a-z_ ()&|!<>=0-9.'\\[\\],?:{}\\-+]{0,60}|\\PC{0,40}") {
            let _ = Condition::parse(&text, Protocol::built_in().limits());
        }
    }
}
