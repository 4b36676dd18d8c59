//! The numbers: proposed, typed, confirmed by a lead.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::keeping::NOTICE;
use crate::care::keeping::announce;
use crate::care::keeping::must_lead;
use crate::care::keeping::work;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::store::keepings;
use crate::store::keepings::Keeping;
use crate::store::keepings::Numbers;
use crate::store::practices;
use crate::store::staff::StaffMember;

/// What the form holds before anybody confirmed anything. Law differs from place to place: summaries of US state laws on charts
/// name 5 to 11 years and more, and longer for minors; 45 CFR 164.316(b)(2)(i) asks for six years of the documentation that HIPAA
/// itself asks for. Ours are on the long side of that; the other two have no source.
pub const PROPOSED: Numbers = Numbers {
    clinical_years: 15,
    minor_age: 21,
    minor_years: 10,
    record_years: 6,
    letters_days: 90,
    passing_days: 3,
};

/// As a lead typed them.
#[derive(Clone, Debug, Default)]
pub struct Typed {
    pub clinical_years: String,
    pub minor_age: String,
    pub minor_years: String,
    pub record_years: String,
    pub letters_days: String,
    pub passing_days: String,
    /// "These are what the law here asks for."
    pub is_confirmed: bool,
}

/// Keeps the numbers. What went so far stays gone; whatever they let go goes after a week. The same numbers again change nothing.
pub async fn set(desk: &Desk, lead: &StaffMember, typed: &Typed, moment: &Moment) -> Done<()> {
    must_lead(lead)?;
    let numbers = read(typed).map_err(CareError::Entered)?;
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, lead.practice).await?;
    let practice = practices::find(&mut tx, lead.practice).await?.ok_or(CareError::NotFound)?;
    let before = keepings::find(&mut tx, lead.practice).await?;
    if before.is_some_and(|before| before.numbers == numbers) {
        return Ok(());
    }
    let keeping = Keeping {
        numbers,
        confirmed_by: lead.id,
        confirmed: moment.now,
        waits_until: moment.now + NOTICE,
        looked: moment.now,
    };
    keepings::keep(&mut tx, lead.practice, &keeping).await?;
    let (actor, subject) = (Actor::Staff(lead.id), format!("practice:{}", lead.practice));
    record::note(&mut tx, lead.practice, actor, "keeping.set", &subject, &listed(&numbers), moment.now)
        .await?;
    announce(&mut tx, lead.practice, moment).await?;
    work::begin(&mut tx, &practice, moment).await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(())
}

fn listed(numbers: &Numbers) -> String {
    let Numbers { clinical_years, minor_age, minor_years, record_years, letters_days, passing_days } =
        numbers;
    format!(
        "clinical_years={clinical_years} minor_age={minor_age} minor_years={minor_years} record_years={record_years} \
         letters_days={letters_days} passing_days={passing_days}"
    )
}

fn read(typed: &Typed) -> Result<Numbers, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut whole = |field: &'static str, text: &str, least: i64, most: i64| {
        let found = text.trim().parse::<i64>().ok().filter(|number| (least..=most).contains(number));
        if found.is_none() {
            faults.push(Fault::new(field, format!("Enter a whole number from {least} to {most}.")));
        }
        found.unwrap_or(least)
    };
    let numbers = Numbers {
        clinical_years: whole("clinical_years", &typed.clinical_years, 5, 99),
        minor_age: whole("minor_age", &typed.minor_age, 18, 30),
        minor_years: whole("minor_years", &typed.minor_years, 0, 99),
        record_years: whole("record_years", &typed.record_years, 6, 99),
        letters_days: whole("letters_days", &typed.letters_days, 30, 3_650),
        passing_days: whole("passing_days", &typed.passing_days, 3, 365),
    };
    if !typed.is_confirmed {
        faults
            .push(Fault::new("confirmed", "Find out what the law where you are asks for, then say so here."));
    }
    if faults.is_empty() { Ok(numbers) } else { Err(faults) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed() -> Typed {
        Typed {
            clinical_years: "15".to_owned(),
            minor_age: " 21 ".to_owned(),
            minor_years: "10".to_owned(),
            record_years: "6".to_owned(),
            letters_days: "90".to_owned(),
            passing_days: "3".to_owned(),
            is_confirmed: true,
        }
    }

    #[test]
    fn numbers_are_read_within_their_ranges_and_only_when_a_person_stands_for_them() {
        assert_eq!(read(&typed()), Ok(PROPOSED));
        let fault =
            |typed: Typed| read(&typed).unwrap_err().iter().map(|fault| fault.field).collect::<Vec<_>>();
        assert_eq!(fault(Typed { clinical_years: "4".to_owned(), ..typed() }), ["clinical_years"]);
        assert_eq!(fault(Typed { record_years: "5".to_owned(), ..typed() }), ["record_years"]);
        assert_eq!(fault(Typed { letters_days: "soon".to_owned(), ..typed() }), ["letters_days"]);
        assert_eq!(
            fault(Typed { minor_age: "17".to_owned(), passing_days: "0".to_owned(), ..typed() }),
            ["minor_age", "passing_days"]
        );
        assert_eq!(fault(Typed { is_confirmed: false, ..typed() }), ["confirmed"]);
    }
}
