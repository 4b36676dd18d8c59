//! A new migration is compiled into the program: without this line cargo would not notice the new file.

fn main() {
    println!("cargo:rerun-if-changed=migrations");
}
