//! The practice every day begins in: two surgeons, an office, two patients with a link, and the books as a file to copy.

use std::fs;
use std::path::Path;
use std::path::PathBuf;

use sha2::Digest;
use sha2::Sha256;
use tempfile::TempDir;

use closewatch::care::LinkHolder;
use closewatch::ids::PracticeId;
use closewatch::ids::StaffAddressId;
use closewatch::store::addresses;
use closewatch::store::addresses::Reached;
use closewatch::store::addresses::StaffAddress;
use closewatch::store::staff::Roles;
use closewatch::store::staff::StaffMember;

use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;

/// How many pictures there are to send.
pub const PICTURES: usize = 3;

/// A picture, and the SHA-256 of its bytes in hex.
pub struct Picture {
    pub bytes: Vec<u8>,
    pub sha256: String,
}

impl Picture {
    /// Small, so that a day is fast; the program asks for a better one and keeps it.
    fn paint(seed: usize) -> Picture {
        let side = |x: u32, y: u32| ((x * 5 + y * 3) % 200) as u8;
        let paint = image::RgbImage::from_fn(96, 72, |x, y| image::Rgb([200, side(x, y), 60 * seed as u8]));
        let mut bytes = std::io::Cursor::new(Vec::new());
        paint.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
        let bytes = bytes.into_inner();
        Picture { sha256: data_encoding::HEXLOWER.encode(&Sha256::digest(&bytes)), bytes }
    }
}

pub struct Town {
    pub practice: PracticeId,
    /// Two surgeons, then the office.
    pub staff: [StaffMember; 3],
    pub patients: [LinkHolder; 2],
    /// The ids of the staff, as text.
    pub names: [String; 3],
    pub pictures: [Picture; PICTURES],
    books: PathBuf,
    _folder: TempDir,
}

impl Town {
    pub async fn build() -> Town {
        let place = Place::sqlite();
        let practice = Practice::open(&place).await;
        let surgeon = Roles { surgeon: true, ..Roles::default() };
        let rosa = practice.hires("Dr. Rosa Lind", surgeon).await;
        let omar = practice.hires("Dr. Omar Field", surgeon).await;
        let pat = practice.hires("Pat Moss", Roles { office: true, ..Roles::default() }).await;
        reached_at(&practice, &rosa, &[(Reached::Sms, "+12025550150"), (Reached::Voice, "+12025550151")])
            .await;
        reached_at(
            &practice,
            &omar,
            &[(Reached::Sms, "+12025550152"), (Reached::Email, "omar@harbor.example")],
        )
        .await;
        reached_at(
            &practice,
            &pat,
            &[(Reached::Email, "pat@harbor.example"), (Reached::Sms, "+12025550153")],
        )
        .await;
        let mut patients = Vec::new();
        for name in ["Mia Stone", "Bo Reed"] {
            let at = |member: &StaffMember| Staff {
                practice: practice.clone(),
                member: member.clone(),
                cookie: String::new(),
            };
            let phone = at(&pat).enrols(name, &at(&rosa)).await.opens_link().await;
            patients.push(LinkHolder { may_read: true, ..phone.holder().await });
        }
        // The steps of plans are another loop, with tests of their own: of patients only answers to be read are due here.
        let mut tx = practice.desk().db.write().await.unwrap();
        sqlx::query("DELETE FROM plan_step").execute(&mut *tx).await.unwrap();
        tx.commit().await.unwrap();
        practice.desk().db.close().await;
        Town {
            practice: practice.id,
            names: [&rosa, &omar, &pat].map(|member| member.id.to_string()),
            pictures: std::array::from_fn(Picture::paint),
            staff: [rosa, omar, pat],
            patients: patients.try_into().unwrap(),
            books: place.folder.path().join("test.sqlite"),
            _folder: place.folder,
        }
    }

    /// Copies the books to where a day is lived.
    pub fn copy_to(&self, books: &Path) {
        for ending in ["-wal", "-shm"] {
            let _ = fs::remove_file(format!("{}{ending}", books.display()));
        }
        fs::copy(&self.books, books).unwrap();
    }
}

async fn reached_at(practice: &Practice, who: &StaffMember, places: &[(Reached, &str)]) {
    let moment = practice.moment();
    let mut tx = practice.desk().db.write().await.unwrap();
    for (place, (channel, address)) in (1..).zip(places) {
        let address = StaffAddress {
            id: StaffAddressId::mint(&moment),
            practice: practice.id,
            staff: who.id,
            channel: *channel,
            address: (*address).to_owned(),
            place,
            since: moment.now,
        };
        assert!(addresses::insert(&mut tx, &address).await.unwrap());
    }
    tx.commit().await.unwrap();
}

/// A folder in memory where there is one: a day writes thousands of small transactions.
pub fn fast_folder() -> TempDir {
    let memory = Path::new("/dev/shm");
    match memory.is_dir() {
        true => tempfile::tempdir_in(memory).or_else(|_| tempfile::tempdir()).unwrap(),
        false => tempfile::tempdir().unwrap(),
    }
}
