//! A symmetric matrix as the product of columns.

/// Columns whose products with themselves add up to the matrix: the Cholesky factor, with the
/// largest pivot first, so that a matrix of less than full rank has fewer columns. `None` of a
/// matrix that no columns make, further off than `tolerance` (of its largest diagonal).
pub fn factored<const N: usize>(matrix: &[[f64; N]; N], tolerance: f64) -> Option<Vec<[f64; N]>> {
    let mut left = *matrix;
    let largest = (0..N).map(|i| left[i][i]).fold(0.0, f64::max);
    let least = tolerance * largest;
    let mut columns = Vec::with_capacity(N);
    for _ in 0..N {
        let pivot = (0..N).max_by(|&a, &b| left[a][a].total_cmp(&left[b][b]))?;
        let on_diagonal = left[pivot][pivot];
        // What is smaller than a rounded number's error is no column.
        if on_diagonal.is_nan() || on_diagonal <= 1e-2 * least {
            break;
        }
        let root = on_diagonal.sqrt();
        let column: [f64; N] = std::array::from_fn(|i| left[i][pivot] / root);
        for i in 0..N {
            for k in 0..N {
                left[i][k] -= column[i] * column[k];
            }
        }
        columns.push(column);
    }
    let made = left.iter().flatten().all(|v| v.abs() <= least);
    made.then_some(columns)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn put_together<const N: usize>(columns: &[[f64; N]]) -> [[f64; N]; N] {
        std::array::from_fn(|i| std::array::from_fn(|k| columns.iter().map(|c| c[i] * c[k]).sum()))
    }

    #[test]
    fn columns_give_the_matrix_back_also_where_its_rank_is_less() {
        let full = [[4.0, 1.0, -0.5], [1.0, 2.0, 0.3], [-0.5, 0.3, 1.0]];
        let columns = factored(&full, 1e-9).unwrap();
        assert_eq!(columns.len(), 3);
        // The third row is the sum of the first two.
        let less = [[1.0, 0.2, 1.2], [0.2, 1.0, 1.2], [1.2, 1.2, 2.4]];
        let few = factored(&less, 1e-9).unwrap();
        assert_eq!(few.len(), 2);
        for (matrix, columns) in [(full, columns), (less, few)] {
            for (a, b) in matrix
                .iter()
                .flatten()
                .zip(put_together(&columns).iter().flatten())
            {
                assert!((a - b).abs() < 1e-12, "{a} {b}");
            }
        }
    }

    #[test]
    fn what_no_columns_make_is_refused() {
        assert_eq!(factored(&[[1.0, 1.5], [1.5, 1.0]], 1e-3), None);
        assert_eq!(factored(&[[f64::NAN, 0.0], [0.0, 1.0]], 1e-3), None);
        // Rounded in the sixth place it is still one.
        let rounded = [[1.0, 0.547_723], [0.547_723, 0.3]];
        assert_eq!(factored(&rounded, 1e-3).map(|c| c.len()), Some(1));
    }
}
