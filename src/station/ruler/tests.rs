use super::*;
use crate::calibration::Gauged;
use crate::config::{Subject, View};
use crate::ruler::Hold;
use crate::stride::synthetic::{self, Skater};

fn lane() -> Lane {
    Lane {
        subject: Subject::People,
        ..synthetic::lane(View::Side, &Skater::default())
    }
}

fn checks(folder: &Path) -> Checks {
    Checks {
        folder: folder.join(RULER_FOLDER),
        model: ModelKind::Full,
        engine: "embedded",
    }
}

fn hold() -> Hold {
    Hold {
        of: Gauged::Knee,
        reference: 120.0,
        reading: 129.0,
        person: "AB".to_owned(),
        date: jiff::civil::date(2026, 11, 30),
        stature_m: 1.7,
        gear: String::new(),
        undone: false,
    }
}

#[test]
fn a_check_is_kept_and_ends_with_camera_lane_model_or_engine() {
    let folder = tempfile::tempdir().unwrap();
    let checks = checks(folder.path());
    let setting = checks.setting("usb-1", &lane());
    assert_eq!(checks.state(&setting), CheckState::Never);
    assert_eq!(checks.applied("usb-1", &lane()), lane());
    let mut record = Record::new(setting.clone());
    record.add(hold()).unwrap();
    let file = checks.save(&record).unwrap();
    assert_eq!(checks.load(&setting).unwrap(), Some(record.clone()));
    let CheckState::Holds(checked) = checks.state(&setting) else {
        panic!("{:?}", checks.state(&setting));
    };
    assert_eq!(checked.persons, 1);
    assert_eq!(checks.applied("usb-1", &lane()).checked, Some(*checked));
    // Only its owner reads who was measured.
    use std::os::unix::fs::PermissionsExt;
    let mode = std::fs::metadata(&file).unwrap().permissions().mode();
    assert_eq!(mode & 0o077, 0);
    let ended = |checks: &Checks, camera: &str, lane: &Lane| {
        assert_eq!(checks.applied(camera, lane).checked, None);
        checks.state(&checks.setting(camera, lane)).ended().unwrap()
    };
    assert_eq!(
        ended(&checks, "usb-2", &lane()),
        "the check of 2026-11-30 was made with another camera and counts no more"
    );
    let knocked = Lane {
        tilt_deg: 6.0,
        ..lane()
    };
    assert!(ended(&checks, "usb-1", &knocked).contains("another lane"));
    let heavy = Checks {
        model: ModelKind::Heavy,
        ..checks.clone()
    };
    assert!(ended(&heavy, "usb-1", &lane()).contains("another model"));
    let native = Checks {
        engine: "native",
        ..checks.clone()
    };
    assert!(ended(&native, "usb-1", &lane()).contains("another engine"));
    // The file of one setting in the place of another's.
    let foreign = checks.setting("usb-2", &lane());
    std::fs::copy(&file, checks.file(&foreign)).unwrap();
    let before = std::fs::read(checks.file(&foreign)).unwrap();
    let why = ended(&checks, "usb-2", &lane());
    assert!(why.contains("another camera"), "{why}");
    assert!(checks.load(&foreign).is_err());
    assert_eq!(std::fs::read(checks.file(&foreign)).unwrap(), before);
    // Half a file, and one of an older program.
    for text in ["{\"format\": 1, \"hol", "{\"format\": 0}"] {
        std::fs::write(&file, text).unwrap();
        let why = ended(&checks, "usb-1", &lane());
        assert!(why.contains("make the check anew"), "{why}");
    }
    assert!(checks.forget(&setting).unwrap());
    assert!(!checks.forget(&setting).unwrap());
}

#[test]
fn a_folder_that_cannot_be_written_to_is_told_and_nothing_is_left() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join(RULER_FOLDER), "a file").unwrap();
    let checks = checks(folder.path());
    let mut record = Record::new(checks.setting("usb-1", &lane()));
    record.add(hold()).unwrap();
    let why = checks.save(&record).unwrap_err().to_string();
    assert!(why.contains("cannot be written"), "{why}");
}
