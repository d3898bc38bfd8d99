"""What Python calls: columns marched one after the other, and means of water read off heads."""

from soilwater.kernels.cache import compile_entry_point, kernel
from soilwater.kernels.march import march
from soilwater.kernels.rows import N_RATES, N_WORK, Outputs
from soilwater.kernels.unpack import column_of, rows_of, soils_of, state_of
from soilwater.kernels.water import mean_water_content


@kernel
def work_size(n):
    """Numbers of work space that a column of `n` nodes needs."""
    return N_RATES + N_WORK * n


def _march_columns(digest):
    def march_columns(first, last, packed):
        """March the columns `first` to `last` - 1 of those that are laid end to end."""
        _ = digest
        soils = soils_of(packed)
        for c in range(first, last):
            a, b = packed.node_start[c], packed.node_start[c + 1]
            n = b - a
            column, state = column_of(packed, c), state_of(packed, c)
            outputs = Outputs(
                packed.out_time,
                packed.out_head[c, :, :n],
                packed.out_water[c, :, : n - 1],
                packed.out_suction[c, :, : n - 1],
                packed.out_ledger[c],
            )
            begin, end = packed.forcing_range[c, 0], packed.forcing_range[c, 1]
            packed.status[c] = march(
                state,
                column,
                soils,
                packed.forcing[begin:end],
                packed.controls[c],
                outputs,
                rows_of(packed.work[N_RATES : work_size(n)], N_WORK, n),
                packed.work[:N_RATES],
            )

    return march_columns


def _mean_water_contents(digest):
    def mean_water_contents(h, z, soil, tables, scalars, top, bottom, result):
        """Mean water content between two depths of one column at many times.

        `h` has shape (n_times, n), `result` (n_times,).
        """
        _ = digest
        for t in range(result.size):
            result[t] = mean_water_content(h[t], z, soil, tables, scalars, top, bottom)

    return mean_water_contents


march_columns = compile_entry_point(_march_columns, unrolled=False)
mean_water_contents = compile_entry_point(_mean_water_contents)
