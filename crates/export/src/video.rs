//! Pictures into an MP4 file: H.264 (constrained baseline, 4:2:0), the index
//! in front so that a browser can begin before it has everything.
//!
//! Nothing of the machine, the day or the people stands in the file: the
//! times of its headers are 0 and its names empty.

use std::num::NonZeroU32;

use image::RgbImage;
use openh264::OpenH264API;
use openh264::encoder::{
    Complexity, Encoder, EncoderConfig, FrameRate, FrameType, Profile, RateControlMode, UsageType,
    VuiConfig,
};
use openh264::formats::{RgbSliceU8, YUVBuffer};
use shiguredo_mp4::TrackKind;
use shiguredo_mp4::bitstream::h264::{
    H264NalUnitType, H264SampleEntryConfig, LengthSize, build_avc1_box_from_annexb,
    parse_annexb_nal_units,
};
use shiguredo_mp4::boxes::SampleEntry;
use shiguredo_mp4::mux::{
    Mp4FileMuxer, Mp4FileMuxerOptions, Sample, estimate_maximum_moov_box_size,
};

/// Ticks a second: whole numbers for all usual frame rates.
const TIMESCALE: NonZeroU32 = NonZeroU32::new(90_000).unwrap();

/// What went wrong while a clip was made.
#[derive(Debug, thiserror::Error)]
pub enum VideoError {
    /// The encoder refused.
    #[error("the video encoder failed: {0}")]
    Encoder(#[from] openh264::Error),
    /// The file could not be put together.
    #[error("the video file could not be put together: {0}")]
    File(String),
    /// A picture of another size than the first one, or far too small.
    #[error("the pictures of the clip are not all of one size of at least 32 by 32 pixels")]
    Size,
}

/// Collects pictures and makes the file of them.
pub struct Mp4 {
    encoder: Encoder,
    size: [u32; 2],
    yuv: Option<YUVBuffer>,
    samples: Vec<Encoded>,
    entry: Option<SampleEntry>,
    ticks: u64,
    ends_at_s: f64,
}

struct Encoded {
    data: Vec<u8>,
    keyframe: bool,
    duration: u32,
}

impl Mp4 {
    /// For pictures of this size; sides are made even by leaving out the last
    /// row or column.
    pub fn new(width: u32, height: u32) -> Result<Self, VideoError> {
        let size = [width & !1, height & !1];
        if size.iter().any(|side| *side < 32) {
            return Err(VideoError::Size);
        }
        let config = EncoderConfig::new()
            .max_frame_rate(FrameRate::from_hz(30.0))
            // Every picture as good as the other, whatever it takes: clips are
            // two seconds long.
            .rate_control_mode(RateControlMode::Off)
            .usage_type(UsageType::CameraVideoRealTime)
            .profile(Profile::Baseline)
            .complexity(Complexity::Low)
            .skip_frames(false)
            .scene_change_detect(false)
            .background_detection(false)
            // One thread: the station may be judging meanwhile.
            .num_threads(1)
            .vui(VuiConfig::bt601());
        Ok(Mp4 {
            encoder: Encoder::with_api_config(OpenH264API::from_source(), config)?,
            size,
            yuv: None,
            samples: Vec::new(),
            entry: None,
            ticks: 0,
            ends_at_s: 0.0,
        })
    }

    /// Adds a picture that is shown for `seconds`.
    pub fn push(&mut self, picture: &RgbImage, seconds: f64) -> Result<(), VideoError> {
        let [w, h] = self.size;
        if picture.width() & !1 != w || picture.height() & !1 != h {
            return Err(VideoError::Size);
        }
        let even;
        let rgb = if [picture.width(), picture.height()] == self.size {
            picture.as_raw()
        } else {
            even = image::imageops::crop_imm(picture, 0, 0, w, h).to_image();
            even.as_raw()
        };
        let source = RgbSliceU8::new(rgb, (w as usize, h as usize));
        let yuv = self
            .yuv
            .get_or_insert_with(|| YUVBuffer::new(w as usize, h as usize));
        yuv.read_rgb8(source);
        let stream = self.encoder.encode(yuv)?;
        let keyframe = matches!(stream.frame_type(), FrameType::IDR);
        let annexb = stream.to_vec();
        let bad = |e: shiguredo_mp4::Error| VideoError::File(e.to_string());
        if self.entry.is_none() {
            let config = H264SampleEntryConfig {
                length_size: LengthSize::FourBytes,
            };
            let avc1 = build_avc1_box_from_annexb(&annexb, &config).map_err(bad)?;
            self.entry = Some(SampleEntry::Avc1(avc1));
        }
        let mut data = Vec::with_capacity(annexb.len());
        for unit in parse_annexb_nal_units(&annexb).map_err(bad)? {
            // They stand in the file's head once.
            if !matches!(
                unit.nal_unit_type,
                H264NalUnitType::Sps | H264NalUnitType::Pps
            ) {
                data.extend((unit.data.len() as u32).to_be_bytes());
                data.extend(unit.data);
            }
        }
        // From one running sum, so that rounding does not add up.
        self.ends_at_s += seconds.clamp(0.001, 60.0);
        let end = (self.ends_at_s * f64::from(TIMESCALE.get())).round() as u64;
        let duration = end.saturating_sub(self.ticks).max(1);
        self.ticks += duration;
        self.samples.push(Encoded {
            data,
            keyframe,
            duration: duration as u32,
        });
        Ok(())
    }

    /// The next picture can be jumped to.
    pub fn begin_part(&mut self) {
        if !self.samples.is_empty() {
            self.encoder.force_intra_frame();
        }
    }

    /// The whole file.
    pub fn into_bytes(self) -> Result<Vec<u8>, VideoError> {
        let bad = |e: String| VideoError::File(e);
        let entry = self
            .entry
            .ok_or_else(|| bad("there is no picture".to_owned()))?;
        let options = Mp4FileMuxerOptions {
            reserved_moov_box_size: estimate_maximum_moov_box_size(&[self.samples.len()]),
            ..Default::default()
        };
        let mut muxer = Mp4FileMuxer::with_options(options).map_err(|e| bad(e.to_string()))?;
        let mut file = muxer.initial_boxes_bytes().to_vec();
        for (i, sample) in self.samples.iter().enumerate() {
            let data_offset = file.len() as u64;
            file.extend(&sample.data);
            muxer
                .append_sample(&Sample {
                    track_kind: TrackKind::Video,
                    sample_entry: (i == 0).then(|| entry.clone()),
                    keyframe: sample.keyframe,
                    timescale: TIMESCALE,
                    duration: sample.duration,
                    composition_time_offset: None,
                    data_offset,
                    data_size: sample.data.len(),
                })
                .map_err(|e| bad(e.to_string()))?;
        }
        let boxes = muxer.finalize().map_err(|e| bad(e.to_string()))?;
        if !boxes.is_faststart_enabled() {
            return Err(bad("its index did not fit in front".to_owned()));
        }
        for (offset, bytes) in boxes.offset_and_bytes_pairs() {
            let end = offset as usize + bytes.len();
            if file.len() < end {
                file.resize(end, 0);
            }
            file[offset as usize..end].copy_from_slice(bytes);
        }
        Ok(file)
    }
}
