//! A fixed pinhole camera over a flat sheet of ice.

use crate::config::Lane;

/// Where a lane's camera stands and how it projects. No lens distortion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera {
    /// Focal length, pixels.
    pub focal_px: f64,
    /// Principal point, pixels from the left.
    pub cx_px: f64,
    /// Principal point, pixels from the top.
    pub cy_px: f64,
    /// Lens above the ice, metres.
    pub height_m: f64,
    /// Rows: picture right, picture down, optical axis; in world x, y, z.
    axes: [[f64; 3]; 3],
}

impl Camera {
    /// The camera of a lane for pictures of the given size in pixels.
    pub fn of_lane(lane: &Lane, width_px: u32, height_px: u32) -> Self {
        let half_width = f64::from(width_px) / 2.0;
        let (sin_t, cos_t) = lane.tilt_deg.to_radians().sin_cos();
        let (sin_r, cos_r) = lane.roll_deg.to_radians().sin_cos();
        // Level camera first: right = x, down = -z, axis = y; then the tilt
        // about `right`, then the roll about the axis.
        let right = [1.0, 0.0, 0.0];
        let down = [0.0, -sin_t, -cos_t];
        let axis = [0.0, cos_t, -sin_t];
        let mix =
            |a: f64, b: f64| -> [f64; 3] { std::array::from_fn(|i| a * right[i] + b * down[i]) };
        Camera {
            focal_px: half_width / (lane.hfov_deg.to_radians() / 2.0).tan(),
            cx_px: half_width,
            cy_px: f64::from(height_px) / 2.0,
            height_m: lane.camera_height_m,
            axes: [mix(cos_r, sin_r), mix(-sin_r, cos_r), axis],
        }
    }

    /// World point (metres) to the camera's own axes: right, down, depth.
    pub fn camera_from_world(&self, p_m: [f64; 3]) -> [f64; 3] {
        let d = [p_m[0], p_m[1], p_m[2] - self.height_m];
        std::array::from_fn(|i| self.axes[i].iter().zip(d).map(|(a, b)| a * b).sum())
    }

    /// Picture position of a world point, pixels. `None` behind the lens.
    pub fn project(&self, p_m: [f64; 3]) -> Option<[f64; 2]> {
        let [right, down, depth] = self.camera_from_world(p_m);
        (depth > 1e-6).then(|| {
            [
                self.cx_px + self.focal_px * right / depth,
                self.cy_px + self.focal_px * down / depth,
            ]
        })
    }

    /// Direction of the ray through a picture position, world axes, with a
    /// depth of 1 along the optical axis.
    pub fn ray(&self, px: [f64; 2]) -> [f64; 3] {
        let (u, v) = (
            (px[0] - self.cx_px) / self.focal_px,
            (px[1] - self.cy_px) / self.focal_px,
        );
        std::array::from_fn(|i| self.axes[0][i] * u + self.axes[1][i] * v + self.axes[2][i])
    }

    /// The point at height `z_m` above the ice that a picture position
    /// shows: world x and y in metres. `None` at or above the horizon.
    pub fn on_plane(&self, px: [f64; 2], z_m: f64) -> Option<[f64; 2]> {
        let ray = self.ray(px);
        let t = (z_m - self.height_m) / ray[2];
        (t.is_finite() && t > 0.0).then(|| [ray[0] * t, ray[1] * t])
    }

    /// The point at world distance `y_m` straight away from the camera that
    /// a picture position shows: world x and z in metres.
    pub fn on_wall(&self, px: [f64; 2], y_m: f64) -> Option<[f64; 2]> {
        self.on_upright_plane(px, [0.0, y_m], [1.0, 0.0])
    }

    /// The point on an upright plane that a picture position shows, as metres
    /// along `along` (a horizontal direction of length 1) from `through`, and
    /// metres above the ice. `None` when the line of sight runs along the
    /// plane or meets it behind the lens.
    pub fn on_upright_plane(
        &self,
        px: [f64; 2],
        through_m: [f64; 2],
        along: [f64; 2],
    ) -> Option<[f64; 2]> {
        let ray = self.ray(px);
        let normal = [-along[1], along[0]];
        let toward = ray[0] * normal[0] + ray[1] * normal[1];
        let t = (through_m[0] * normal[0] + through_m[1] * normal[1]) / toward;
        if !(t.is_finite() && t > 0.0) {
            return None;
        }
        let (dx, dy) = (ray[0] * t - through_m[0], ray[1] * t - through_m[1]);
        Some([dx * along[0] + dy * along[1], self.height_m + ray[2] * t])
    }

    /// Depth along the optical axis of a world point, metres.
    pub fn depth_m(&self, p_m: [f64; 3]) -> f64 {
        self.camera_from_world(p_m)[2]
    }

    /// World axes of the picture: right, down, into the picture.
    pub fn axes(&self) -> [[f64; 3]; 3] {
        self.axes
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{Subject, Travel, View};

    fn lane(tilt_deg: f64, roll_deg: f64) -> Lane {
        Lane {
            view: View::Side,
            camera_height_m: 1.2,
            tilt_deg,
            hfov_deg: 62.0,
            roll_deg,
            lane_distance_m: 6.0,
            travel: Travel::LeftToRight,
            skater_height_m: 1.7,
            subject: Subject::People,
            errors: Default::default(),
            checked: None,
        }
    }

    #[test]
    fn projecting_and_casting_back_agree() {
        for (tilt, roll) in [(0.0, 0.0), (2.7, 0.0), (12.0, -4.0), (-3.0, 7.0)] {
            let cam = Camera::of_lane(&lane(tilt, roll), 1280, 720);
            for p in [[0.5, 6.0, 0.0], [-2.0, 9.0, 0.0], [1.0, 4.0, 0.0]] {
                let px = cam.project(p).unwrap();
                let back = cam.on_plane(px, 0.0).unwrap();
                assert!((back[0] - p[0]).hypot(back[1] - p[1]) < 1e-9);
            }
            let p = [0.4, 6.0, 0.9];
            let back = cam.on_wall(cam.project(p).unwrap(), 6.0).unwrap();
            assert!((back[0] - 0.4).hypot(back[1] - 0.9) < 1e-9);
        }
    }

    #[test]
    fn an_upright_plane_at_an_angle_gives_back_what_was_projected() {
        let cam = Camera::of_lane(&lane(3.0, 1.0), 1280, 720);
        let (through, s) = ([0.3, 6.5], 0.5f64.sqrt());
        for (along_m, z) in [(0.0, 0.0), (0.4, 0.9), (-0.6, 0.3)] {
            let p = [through[0] + s * along_m, through[1] - s * along_m, z];
            let back = cam
                .on_upright_plane(cam.project(p).unwrap(), through, [s, -s])
                .unwrap();
            assert!((back[0] - along_m).hypot(back[1] - z) < 1e-9);
        }
    }

    #[test]
    fn tilt_moves_the_ice_up_and_the_horizon_has_no_ice() {
        let level = Camera::of_lane(&lane(0.0, 0.0), 1280, 720);
        let down = Camera::of_lane(&lane(5.0, 0.0), 1280, 720);
        let p = [0.0, 6.0, 0.0];
        assert!(down.project(p).unwrap()[1] < level.project(p).unwrap()[1]);
        assert_eq!(level.on_plane([640.0, 300.0], 0.0), None);
    }

    /// The first frame of the rendered side clip's camera (62 degrees, 1.2 m
    /// high, tilted 2.685 down, 6 m away): the renderer's own projection of a
    /// point on the lane, written into its truth file, in pixels. Its camera is
    /// turned by 0.0004 rad, which a lane file does not say: under a pixel.
    #[test]
    fn agrees_with_the_renderers_projection() {
        let cam = Camera::of_lane(&lane(2.685, 0.0), 1280, 720);
        assert!((cam.focal_px - 1065.1389).abs() < 1e-3);
        // left knee of frame 0 of 'side_good': world -4.2594, 0.1939, 0.4975
        let px = cam.project([-4.2594, 6.1939, 0.4975]).unwrap();
        assert!((px[0] - -88.77).abs() < 1.0, "{px:?}");
        assert!((px[1] - 430.45).abs() < 0.6, "{px:?}");
    }
}
