//! The health page: what is made of the parts, its file, its line.

use super::page::FILE;
use super::*;
use crate::station::commands::check::running_line;

fn feed(state: FeedState) -> FeedStatus {
    FeedStatus {
        state,
        message: "camera 'Rink' is running".to_owned(),
        fault: None,
        source: "Rink".to_owned(),
        frames: 900,
        dropped: 12,
        corrupt: 3,
        reopened: 1,
        fps_measured: 29.97,
        last_frame_age_s: Some(0.02),
        shutter_s: None,
    }
}

fn store(state: WriterState, lost: u64) -> WriterStatus {
    WriterStatus {
        pictures_written: 0,
        state,
        written: 7,
        waiting: 2,
        lost,
        pictures_lost: 0,
        last_loss: None,
        retries: 0,
        session: None,
        number_shift: 0,
        recovered: Vec::new(),
        set_aside: None,
    }
}

fn running(state: FeedState, store_state: WriterState, sound: SoundState) -> Running {
    Running {
        feed: feed(state),
        store: Some(store(store_state, 0)),
        sound: Some(sound),
        pose: PoseHealth {
            mood: Mood::Good,
            message: String::new(),
            model: "full, native".to_owned(),
            frames: 888,
            passes: 9,
            frame_to_result_ms_half: Some(31.0),
            frame_to_result_ms_95: Some(55.0),
        },
    }
}

fn health_of(running: Running) -> Health {
    let host = HostHealth {
        free_disk_gb: Some(50.0),
        ..HostHealth::default()
    };
    health(running, 4000.0, host)
}

#[test]
fn a_good_station_has_no_troubles_and_a_bad_one_names_each() {
    let good = health_of(running(
        FeedState::Live,
        WriterState::Writing,
        SoundState::Ready,
    ));
    assert_eq!(good.troubles(), Vec::<String>::new());
    assert!(good.line().contains("up 1 h 6 min"), "{}", good.line());

    let bad = health_of(running(
        FeedState::Lost,
        WriterState::Stopped("the disk is full".to_owned()),
        SoundState::NoDevice("gone".to_owned()),
    ));
    let troubles = bad.troubles();
    assert_eq!(troubles.len(), 3, "{troubles:?}");
    assert!(troubles[0].starts_with("camera"), "{troubles:?}");
    assert!(troubles.iter().any(|t| t.contains("the disk is full")));

    // Muted on purpose is nothing to complain about.
    let muted = health_of(running(
        FeedState::Live,
        WriterState::Writing,
        SoundState::Off,
    ));
    assert!(muted.troubles().is_empty());

    let mut full = good;
    full.host.free_disk_gb = Some(0.3);
    assert_eq!(full.troubles().len(), 1);
}

#[test]
fn passes_that_were_lost_are_never_good() {
    let mut parts = running(FeedState::Live, WriterState::Writing, SoundState::Ready);
    parts.store = Some(store(WriterState::Writing, 4));
    let health = health_of(parts);
    assert_eq!(health.store.mood, Mood::Less);
    assert!(health.troubles()[0].contains('4'));
}

#[test]
fn the_file_is_whole_private_and_gone_after_a_proper_end() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("kickplate").join(FILE);
    let mut keeper = HealthKeeper::start(Some(file.clone()), dir.path().to_owned());
    assert!(keeper.is_due());
    for n in 1..=100 {
        keeper.frame(f64::from(n) / 1000.0);
    }
    assert_eq!(keeper.late_ms(0.5), Some(50.0));
    assert_eq!(keeper.late_ms(0.95), Some(95.0));
    keeper.tell(running(
        FeedState::Live,
        WriterState::Writing,
        SoundState::Ready,
    ));
    assert!(!keeper.is_due());
    let since = Instant::now();
    while keeper.newest().is_none() || !file.exists() {
        assert!(since.elapsed() < Duration::from_secs(20), "never gathered");
        std::thread::sleep(Duration::from_millis(5));
    }
    let back = read(&file).unwrap();
    assert_eq!(Some(&back), keeper.newest().as_ref());
    assert_eq!(back.pid, std::process::id());
    assert!(back.host.resident_mb.unwrap() > 1.0);
    assert!(back.host.descriptors.unwrap() >= 3);
    let mode = |p: &Path| std::fs::metadata(p).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&file), 0o600);
    assert_eq!(mode(file.parent().unwrap()), 0o700);
    drop(keeper);
    while file.exists() {
        assert!(since.elapsed() < Duration::from_secs(20), "never removed");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn the_check_page_tells_a_crash_from_no_station() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join(FILE);
    assert!(running_line(Some(&file)).found.contains("none is running"));
    let mut health = health_of(running(
        FeedState::Live,
        WriterState::Writing,
        SoundState::Ready,
    ));
    // No process has this number: it is above the largest the kernel gives
    // (2^22, proc(5), /proc/sys/kernel/pid_max).
    health.pid = (1 << 22) + 1;
    write(&file, &health).unwrap();
    let line = running_line(Some(&file));
    assert!(line.found.contains("without a proper end"), "{line:?}");
    std::fs::write(&file, "{").unwrap();
    assert!(running_line(Some(&file)).found.contains("cannot be read"));
}

#[test]
fn the_hottest_believable_sensor_counts() {
    let dir = tempfile::tempdir().unwrap();
    let put = |path: &str, text: &str| {
        let path = dir.path().join(path);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    };
    assert_eq!(host::temperature_c(dir.path()), None);
    put("class/thermal/thermal_zone0/temp", "48250\n");
    put("class/thermal/thermal_zone1/temp", "-274000\n");
    put("class/thermal/cooling_device0/temp", "99000\n");
    put("class/hwmon/hwmon2/temp1_input", "61000\n");
    put("class/hwmon/hwmon2/temp1_max", "105000\n");
    put("class/hwmon/hwmon3/temp1_input", "nonsense\n");
    assert_eq!(host::temperature_c(dir.path()), Some(61.0));
}

#[test]
fn a_share_of_nothing_is_nothing() {
    assert_eq!(percentile(&[], 0.5), None);
    assert_eq!(percentile(&[3.0], 0.95), Some(3.0));
    assert_eq!(percentile(&[2.0, 1.0], 0.5), Some(1.0));
}
