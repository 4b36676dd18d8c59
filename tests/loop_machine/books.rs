//! What stands in the books, read in one statement, each table in the order in which its rows were written.

use sqlx::Row;

use closewatch::store::Conn;

#[derive(Clone, Debug, Default)]
pub struct Books {
    pub checks: Vec<Check>,
    pub photos: Vec<Photo>,
    /// Every time somebody rang, by what about: `callback:ID`, or `silence:ID`.
    pub attempts: Vec<String>,
    pub calls: Vec<Call>,
    pub ladders: Vec<Ladder>,
    pub rungs: Vec<Rung>,
    pub notices: Vec<Notice>,
    pub deliveries: Vec<Delivery>,
    /// Answers of the practice.
    pub replies: Vec<Reply>,
    pub silences: Vec<Silence>,
    /// Open ones: kind and what they are about.
    pub alarms: Vec<(String, String)>,
    /// Those that were not done.
    pub jobs: Vec<Job>,
    /// Active members of staff.
    pub active: Vec<String>,
}

#[derive(Clone, Debug)]
pub struct Check {
    pub id: String,
    pub link: String,
    pub form: String,
    pub state: String,
    pub rank: u8,
    /// Times are milliseconds of the wall's clock.
    pub due: i64,
    pub received: i64,
    pub claimed_by: String,
    pub claimed_until: Option<i64>,
    /// Bodies its form sent.
    pub bodies: usize,
    /// How often a surgeon read it.
    pub looks: usize,
    /// What its patient asked so far.
    pub asked: usize,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Photo {
    pub check: String,
    /// SHA-256 of what was sent, in hex.
    pub sent: String,
    /// Names of the renditions that are kept.
    pub renditions: Vec<String>,
}

#[derive(Clone, Debug)]
pub struct Call {
    pub id: String,
    pub check: String,
    pub state: String,
    pub rank: u8,
    pub missed: i64,
    pub due: i64,
    /// Made by the program: no message told the patient of an answer.
    pub is_instead: bool,
}

#[derive(Clone, Debug)]
pub struct Ladder {
    pub id: String,
    pub about: String,
    pub kind: String,
    pub state: String,
    pub begun: i64,
    pub ended: Option<i64>,
    pub stopped_by: String,
}

#[derive(Clone, Debug)]
pub struct Rung {
    pub ladder: String,
    pub number: usize,
    pub told: String,
    pub reached: usize,
}

#[derive(Clone, Debug)]
pub struct Notice {
    pub id: String,
    pub kind: String,
    pub recipient: String,
    pub about: String,
    pub state: String,
}

#[derive(Clone, Debug)]
pub struct Delivery {
    pub id: String,
    pub notice: String,
    pub channel: String,
    pub address: String,
    pub state: String,
    pub tries: i64,
    pub sent_with: String,
}

#[derive(Clone, Debug)]
pub struct Reply {
    pub id: String,
    pub check: String,
    pub read_by: i64,
    pub is_read: bool,
}

#[derive(Clone, Debug)]
pub struct Silence {
    pub id: String,
    pub kind: String,
    /// What was due, such as `message:ID`.
    pub missing: String,
    /// The check it follows from: what was missing is an answer to it.
    pub check: String,
    pub is_open: bool,
    pub step: String,
    pub from: i64,
    pub by: i64,
    pub ended_by: String,
}

#[derive(Clone, Debug)]
pub struct Job {
    pub kind: String,
    pub about: String,
    pub state: String,
    pub due: i64,
    pub leased_until: i64,
    pub why: String,
}

const SQL: &str = "SELECT \
    (SELECT group_concat(id || '|' || link_id || '|' || form_key || '|' || state || '|' || urgency || '|' || due_ms || '|' || \
        received_ms || '|' || COALESCE(claimed_by, '') || '|' || COALESCE(claimed_until_ms, '') || '|' || \
        (SELECT COUNT(*) FROM answers_version WHERE check_id = wound_check.id) || '|' || \
        (SELECT COUNT(*) FROM audit WHERE subject = 'check:' || id AND action = 'check.view') || '|' || \
        (SELECT COUNT(*) FROM message WHERE sender = 'patient' AND message.link_id = wound_check.link_id), \
        ';' ORDER BY rowid) FROM wound_check) AS checks, \
    (SELECT group_concat(check_id || '|' || sent_sha256 || '|' || full_sha256 || '|' || review_sha256 || '|' || small_sha256, \
        ';' ORDER BY rowid) FROM photo) AS photos, \
    (SELECT group_concat(about, ';') FROM (SELECT 'callback:' || callback_id AS about FROM call_attempt \
        UNION ALL SELECT 'silence:' || silence_id FROM silence_call)) AS attempts, \
    (SELECT group_concat(id || '|' || check_id || '|' || state || '|' || urgency || '|' || missed || '|' || due_ms || '|' || \
        (reason LIKE 'An answer waits%'), ';' ORDER BY rowid) FROM callback) AS calls, \
    (SELECT group_concat(id || '|' || about || '|' || kind || '|' || state || '|' || begun_ms || '|' || \
        COALESCE(ended_ms, '') || '|' || COALESCE(stopped_by, ''), ';' ORDER BY rowid) FROM ladder) AS ladders, \
    (SELECT group_concat(ladder_id || '|' || number || '|' || told || '|' || reached, ';' ORDER BY rowid) \
        FROM ladder_rung) AS rungs, \
    (SELECT group_concat(id || '|' || kind || '|' || recipient || '|' || about || '|' || state, ';' ORDER BY rowid) \
        FROM notice) AS notices, \
    (SELECT group_concat(id || '|' || notice_id || '|' || channel || '|' || address || '|' || state || '|' || tries || '|' || \
        COALESCE(sent_with, ''), ';' ORDER BY rowid) FROM delivery) AS deliveries, \
    (SELECT group_concat(id || '|' || check_id || '|' || read_by_ms || '|' || (read_ms IS NOT NULL), ';' ORDER BY rowid) \
        FROM message WHERE sender = 'practice') AS replies, \
    (SELECT group_concat(id || '|' || kind || '|' || about || '|' || state || '|' || next_step || '|' || next_ms || '|' || \
        by_ms || '|' || COALESCE(ended_by, '') || '|' || \
        COALESCE((SELECT check_id FROM message WHERE silence.about = 'message:' || id), \
        (SELECT check_id FROM review WHERE silence.about = 'review:' || id), ''), ';' ORDER BY rowid) FROM silence) AS silences, \
    (SELECT group_concat(kind || '|' || about, ';' ORDER BY rowid) FROM alarm WHERE ended_ms IS NULL) AS alarms, \
    (SELECT group_concat(kind || '|' || about || '|' || state || '|' || due_ms || '|' || leased_until_ms || '|' || \
        replace(replace(why, ';', ','), '|', '/'), ';' ORDER BY rowid) FROM job WHERE state <> 'done') AS jobs, \
    (SELECT group_concat(id, ';' ORDER BY rowid) FROM staff WHERE active = 1) AS active";

impl Books {
    pub async fn read(conn: &mut Conn) -> Books {
        let row = sqlx::query(SQL).fetch_one(conn).await.unwrap();
        let rows = |table: &str| -> Vec<Vec<String>> {
            let text: Option<String> = row.try_get(table).unwrap();
            let lines = text.unwrap_or_default();
            let lines = lines.split(';').filter(|line| !line.is_empty());
            lines.map(|line| line.split('|').map(str::to_owned).collect()).collect()
        };
        Books {
            checks: rows("checks").iter().map(|row| check(row)).collect(),
            photos: rows("photos").iter().map(|row| photo(row)).collect(),
            attempts: rows("attempts").iter().map(|row| row[0].clone()).collect(),
            calls: rows("calls").iter().map(|row| call(row)).collect(),
            ladders: rows("ladders").iter().map(|row| ladder(row)).collect(),
            rungs: rows("rungs").iter().map(|row| rung(row)).collect(),
            notices: rows("notices").iter().map(|row| notice(row)).collect(),
            deliveries: rows("deliveries").iter().map(|row| delivery(row)).collect(),
            replies: rows("replies").iter().map(|row| reply(row)).collect(),
            silences: rows("silences").iter().map(|row| silence(row)).collect(),
            alarms: rows("alarms").iter().map(|row| (row[0].clone(), row[1].clone())).collect(),
            jobs: rows("jobs").iter().map(|row| job(row)).collect(),
            active: rows("active").iter().map(|row| row[0].clone()).collect(),
        }
    }

    pub fn rungs_of<'a>(&'a self, ladder: &'a Ladder) -> impl Iterator<Item = &'a Rung> {
        self.rungs.iter().filter(|rung| rung.ladder == ladder.id)
    }

    pub fn running(&self, about: &str) -> Option<&Ladder> {
        self.ladders.iter().find(|ladder| ladder.about == about && ladder.state == "running")
    }

    pub fn open_silences(&self) -> Vec<&Silence> {
        self.silences.iter().filter(|silence| silence.is_open).collect()
    }

    /// The link through which the check of this answer came.
    pub fn link_of(&self, reply: &Reply) -> &str {
        let check = self.checks.iter().find(|check| check.id == reply.check);
        check.map_or("", |check| check.link.as_str())
    }

    /// The check somebody rang about; empty: about something else.
    pub fn check_of(&self, attempt: &str) -> &str {
        let call = self.calls.iter().find(|call| attempt == format!("callback:{}", call.id));
        let silence = self.silences.iter().find(|one| attempt == format!("silence:{}", one.id));
        let check = call.map(|call| &call.check).or(silence.map(|one| &one.check));
        check.map_or("", String::as_str)
    }

    pub fn has_alarm(&self, kind: &str, about: &str) -> bool {
        self.alarms.iter().any(|(a_kind, an_about)| a_kind == kind && an_about == about)
    }
}

fn whole(text: &str) -> i64 {
    text.parse().unwrap()
}

fn check(row: &[String]) -> Check {
    Check {
        id: row[0].clone(),
        link: row[1].clone(),
        form: row[2].clone(),
        state: row[3].clone(),
        rank: row[4].parse().unwrap(),
        due: whole(&row[5]),
        received: whole(&row[6]),
        claimed_by: row[7].clone(),
        claimed_until: row[8].parse().ok(),
        bodies: row[9].parse().unwrap(),
        looks: row[10].parse().unwrap(),
        asked: row[11].parse().unwrap(),
    }
}

fn photo(row: &[String]) -> Photo {
    Photo { check: row[0].clone(), sent: row[1].clone(), renditions: row[2..].to_vec() }
}

fn call(row: &[String]) -> Call {
    Call {
        id: row[0].clone(),
        check: row[1].clone(),
        state: row[2].clone(),
        rank: row[3].parse().unwrap(),
        missed: whole(&row[4]),
        due: whole(&row[5]),
        is_instead: row[6] == "1",
    }
}

fn ladder(row: &[String]) -> Ladder {
    Ladder {
        id: row[0].clone(),
        about: row[1].clone(),
        kind: row[2].clone(),
        state: row[3].clone(),
        begun: whole(&row[4]),
        ended: row[5].parse().ok(),
        stopped_by: row[6].clone(),
    }
}

fn rung(row: &[String]) -> Rung {
    Rung {
        ladder: row[0].clone(),
        number: row[1].parse().unwrap(),
        told: row[2].clone(),
        reached: row[3].parse().unwrap(),
    }
}

fn notice(row: &[String]) -> Notice {
    Notice {
        id: row[0].clone(),
        kind: row[1].clone(),
        recipient: row[2].clone(),
        about: row[3].clone(),
        state: row[4].clone(),
    }
}

fn delivery(row: &[String]) -> Delivery {
    Delivery {
        id: row[0].clone(),
        notice: row[1].clone(),
        channel: row[2].clone(),
        address: row[3].clone(),
        state: row[4].clone(),
        tries: whole(&row[5]),
        sent_with: row[6].clone(),
    }
}

fn reply(row: &[String]) -> Reply {
    Reply { id: row[0].clone(), check: row[1].clone(), read_by: whole(&row[2]), is_read: row[3] == "1" }
}

fn silence(row: &[String]) -> Silence {
    Silence {
        id: row[0].clone(),
        kind: row[1].clone(),
        missing: row[2].clone(),
        is_open: row[3] == "open",
        step: row[4].clone(),
        from: whole(&row[5]),
        by: whole(&row[6]),
        ended_by: row[7].clone(),
        check: row[8].clone(),
    }
}

fn job(row: &[String]) -> Job {
    Job {
        kind: row[0].clone(),
        about: row[1].clone(),
        state: row[2].clone(),
        due: whole(&row[3]),
        leased_until: whole(&row[4]),
        why: row[5].clone(),
    }
}
