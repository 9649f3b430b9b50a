;; What `bandbench.runtime.kernels` puts in the place of NumPy's arithmetic (see sim/arithmetic.py), in WebAssembly's own
;; text format. It works on Pyodide's memory; addresses are bytes, values float32.
;;
;; Four values are worked on at a time, so counts are multiples of 4: the caller sees to what is left over.
(module
  (import "env" "memory" (memory 0))

  ;; How far the phase of each of `count` samples is ahead of the one before.
  ;; $from: address of the first of the samples, complex64; the one before it stands before it. $to: where the steps go.
  (func (export "phase_steps")
    (param $from i32) (param $to i32) (param $count i32) (param $scale f32) (param $offset f32)
    (local $end i32)
    (local $one v128) (local $two v128)
    (local $now_re v128) (local $now_im v128) (local $old_re v128) (local $old_im v128)
    (local $re v128) (local $im v128) (local $abs_re v128) (local $abs_im v128)
    (local $ratio v128) (local $square v128) (local $angle v128)
    (local.set $end (i32.add (local.get $to) (i32.shl (local.get $count) (i32.const 2))))
    (block $done
      (loop $next
        (br_if $done (i32.ge_u (local.get $to) (local.get $end)))
        ;; Four samples, and the four that are each one place before them: real and imaginary parts apart.
        (local.set $one (v128.load (local.get $from)))
        (local.set $two (v128.load offset=16 (local.get $from)))
        (local.set $now_re
          (i8x16.shuffle 0 1 2 3 8 9 10 11 16 17 18 19 24 25 26 27 (local.get $one) (local.get $two)))
        (local.set $now_im
          (i8x16.shuffle 4 5 6 7 12 13 14 15 20 21 22 23 28 29 30 31 (local.get $one) (local.get $two)))
        (local.set $one (v128.load (i32.sub (local.get $from) (i32.const 8))))
        (local.set $two (v128.load (i32.add (local.get $from) (i32.const 8))))
        (local.set $old_re
          (i8x16.shuffle 0 1 2 3 8 9 10 11 16 17 18 19 24 25 26 27 (local.get $one) (local.get $two)))
        (local.set $old_im
          (i8x16.shuffle 4 5 6 7 12 13 14 15 20 21 22 23 28 29 30 31 (local.get $one) (local.get $two)))
        ;; Each sample times the conjugate of the one before: its angle is the step.
        (local.set $re (f32x4.add
          (f32x4.mul (local.get $now_re) (local.get $old_re))
          (f32x4.mul (local.get $now_im) (local.get $old_im))))
        (local.set $im (f32x4.sub
          (f32x4.mul (local.get $now_im) (local.get $old_re))
          (f32x4.mul (local.get $now_re) (local.get $old_im))))
        ;; The arctangent of the smaller part over the larger one, 0 to 45 degrees, by an odd polynomial: 4e-8 rad off at
        ;; the most (fitted for the least largest error; tests/test_kernels.py holds it). Nothing over nothing is 0.
        (local.set $abs_re (f32x4.abs (local.get $re)))
        (local.set $abs_im (f32x4.abs (local.get $im)))
        (local.set $ratio (f32x4.div
          (f32x4.pmin (local.get $abs_re) (local.get $abs_im))
          (f32x4.pmax
            (f32x4.pmax (local.get $abs_re) (local.get $abs_im))
            (f32x4.splat (f32.const 1e-37)))))
        (local.set $square (f32x4.mul (local.get $ratio) (local.get $ratio)))
        (local.set $angle (f32x4.splat (f32.const -0.0040545483)))
        (local.set $angle (f32x4.add
          (f32x4.mul (local.get $angle) (local.get $square)) (f32x4.splat (f32.const 0.0218628877))))
        (local.set $angle (f32x4.add
          (f32x4.mul (local.get $angle) (local.get $square)) (f32x4.splat (f32.const -0.0559122227))))
        (local.set $angle (f32x4.add
          (f32x4.mul (local.get $angle) (local.get $square)) (f32x4.splat (f32.const 0.0964218949))))
        (local.set $angle (f32x4.add
          (f32x4.mul (local.get $angle) (local.get $square)) (f32x4.splat (f32.const -0.139086264))))
        (local.set $angle (f32x4.add
          (f32x4.mul (local.get $angle) (local.get $square)) (f32x4.splat (f32.const 0.19946565))))
        (local.set $angle (f32x4.add
          (f32x4.mul (local.get $angle) (local.get $square)) (f32x4.splat (f32.const -0.333298607))))
        (local.set $angle (f32x4.add
          (f32x4.mul (local.get $angle) (local.get $square)) (f32x4.splat (f32.const 0.999999336))))
        (local.set $angle (f32x4.mul (local.get $angle) (local.get $ratio)))
        ;; 45 to 90 degrees,
        (local.set $angle (v128.bitselect
          (f32x4.sub (f32x4.splat (f32.const 1.5707964)) (local.get $angle))
          (local.get $angle)
          (f32x4.gt (local.get $abs_im) (local.get $abs_re))))
        ;; 90 to 180 degrees,
        (local.set $angle (v128.bitselect
          (f32x4.sub (f32x4.splat (f32.const 3.1415927)) (local.get $angle))
          (local.get $angle)
          (f32x4.lt (local.get $re) (f32x4.splat (f32.const 0)))))
        ;; and the same below the real axis.
        (local.set $angle (v128.or
          (local.get $angle)
          (v128.and (local.get $im) (v128.const i32x4 0x80000000 0x80000000 0x80000000 0x80000000))))
        (v128.store (local.get $to) (f32x4.add
          (f32x4.mul (local.get $angle) (f32x4.splat (local.get $scale)))
          (f32x4.splat (local.get $offset))))
        (local.set $from (i32.add (local.get $from) (i32.const 32)))
        (local.set $to (i32.add (local.get $to) (i32.const 16)))
        (br $next))))

  ;; Sums of so many values in a row, each with a weight of its own.
  ;; $values, $weights: addresses of the first value, and of its weight in the first sum. $row: bytes from a weight to
  ;; that of the next value in the same sum's place. $to: where the sums go.
  (func (export "weighted_sums")
    (param $values i32) (param $weights i32) (param $row i32) (param $taps i32) (param $to i32) (param $count i32)
    (local $end i32) (local $value i32) (local $weight i32) (local $last i32) (local $sum v128)
    (local.set $end (i32.add (local.get $to) (i32.shl (local.get $count) (i32.const 2))))
    (block $done
      (loop $next
        (br_if $done (i32.ge_u (local.get $to) (local.get $end)))
        (local.set $value (local.get $values))
        (local.set $weight (local.get $weights))
        (local.set $last (i32.add (local.get $values) (i32.shl (local.get $taps) (i32.const 2))))
        (local.set $sum (f32x4.mul (v128.load (local.get $value)) (v128.load (local.get $weight))))
        (block $summed
          (loop $tap
            (local.set $value (i32.add (local.get $value) (i32.const 4)))
            (local.set $weight (i32.add (local.get $weight) (local.get $row)))
            (br_if $summed (i32.ge_u (local.get $value) (local.get $last)))
            (local.set $sum (f32x4.add
              (local.get $sum)
              (f32x4.mul (v128.load (local.get $value)) (v128.load (local.get $weight)))))
            (br $tap)))
        (v128.store (local.get $to) (local.get $sum))
        (local.set $values (i32.add (local.get $values) (i32.const 16)))
        (local.set $weights (i32.add (local.get $weights) (i32.const 16)))
        (local.set $to (i32.add (local.get $to) (i32.const 16)))
        (br $next))))

  ;; Weights of a spline's taps along `segments` times `runs` runs of `length` samples, 4 or more: straight lines between
  ;; the ends of each run.
  ;; $shift: address of how much later each sample is read. $to: where the first tap's weights go. $margin: bytes after
  ;; each segment there, left as they are. $taps: how many, 16 at the most, and $row: bytes from a tap to the next.
  ;; $work: room for 32 values.
  (func (export "spline_taps")
    (param $shift i32) (param $to i32) (param $segments i32) (param $runs i32) (param $length i32) (param $margin i32)
    (param $taps i32) (param $row i32) (param $work i32)
    (local $run i32) (local $tap i32) (local $at i32) (local $last i32)
    (local $first v128) (local $rise v128) (local $per v128) (local $place v128)
    (local.set $per (f32x4.splat
      (f32.div (f32.const 1) (f32.convert_i32_u (i32.sub (local.get $length) (i32.const 1))))))
    (block $done
      (loop $segment
        (br_if $done (i32.eqz (local.get $segments)))
        (local.set $run (local.get $runs))
        (loop $next
          ;; Which taps there are depends on how many whole samples the shift has: the others have no weight.
          (local.set $at (i32.const 0))
          (loop $empty
            (v128.store (i32.add (local.get $work) (local.get $at)) (v128.const i32x4 0 0 0 0))
            (local.set $at (i32.add (local.get $at) (i32.const 16)))
            (br_if $empty (i32.lt_u (local.get $at) (i32.const 128))))
          (call $spline (f32.load (local.get $shift)) (local.get $work))
          (local.set $shift (i32.add (local.get $shift) (i32.shl (local.get $length) (i32.const 2))))
          (call $spline
            (f32.load (i32.sub (local.get $shift) (i32.const 4))) (i32.add (local.get $work) (i32.const 64)))
          (local.set $tap (i32.const 0))
          (loop $along
            (local.set $at (i32.add (local.get $work) (i32.shl (local.get $tap) (i32.const 2))))
            (local.set $first (v128.load32_splat (local.get $at)))
            (local.set $rise (f32x4.mul
              (f32x4.sub (v128.load32_splat offset=64 (local.get $at)) (local.get $first)) (local.get $per)))
            (local.set $at (i32.add (local.get $to) (i32.mul (local.get $tap) (local.get $row))))
            (local.set $last
              (i32.add (local.get $at) (i32.shl (i32.sub (local.get $length) (i32.const 4)) (i32.const 2))))
            (local.set $place (v128.const f32x4 0 1 2 3))
            (block $filled
              (loop $four
                (br_if $filled (i32.ge_u (local.get $at) (local.get $last)))
                (v128.store (local.get $at)
                  (f32x4.add (local.get $first) (f32x4.mul (local.get $rise) (local.get $place))))
                (local.set $place (f32x4.add (local.get $place) (v128.const f32x4 4 4 4 4)))
                (local.set $at (i32.add (local.get $at) (i32.const 16)))
                (br $four)))
            ;; The last four, in part once more.
            (local.set $place (f32x4.add
              (v128.const f32x4 -4 -3 -2 -1) (f32x4.splat (f32.convert_i32_u (local.get $length)))))
            (v128.store (local.get $last)
              (f32x4.add (local.get $first) (f32x4.mul (local.get $rise) (local.get $place))))
            (local.set $tap (i32.add (local.get $tap) (i32.const 1)))
            (br_if $along (i32.lt_u (local.get $tap) (local.get $taps))))
          (local.set $to (i32.add (local.get $to) (i32.shl (local.get $length) (i32.const 2))))
          (local.set $run (i32.sub (local.get $run) (i32.const 1)))
          (br_if $next (local.get $run)))
        (local.set $to (i32.add (local.get $to) (local.get $margin)))
        (local.set $segments (i32.sub (local.get $segments) (i32.const 1)))
        (br $segment))))

  ;; The six weights of a quintic B-spline for one shift, the first for the tap at its whole samples.
  (func $spline (param $shift f32) (param $to i32)
    (local $t f32) (local $weight f32)
    (local.set $t (f32.trunc (local.get $shift)))
    (local.set $to (i32.add (local.get $to) (i32.shl (i32.trunc_sat_f32_u (local.get $t)) (i32.const 2))))
    (local.set $t (f32.sub (local.get $shift) (local.get $t)))
    (local.set $weight (f32.const -1))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 5)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const -10)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 10)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const -5)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 1)))
    (f32.store (local.get $to) (f32.mul (local.get $weight) (f32.const 0.008333334)))
    (local.set $weight (f32.const 5))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const -20)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 20)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 20)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const -50)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 26)))
    (f32.store offset=4 (local.get $to) (f32.mul (local.get $weight) (f32.const 0.008333334)))
    (local.set $weight (f32.const -10))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 30)))
    (local.set $weight (f32.mul (local.get $weight) (local.get $t)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const -60)))
    (local.set $weight (f32.mul (local.get $weight) (local.get $t)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 66)))
    (f32.store offset=8 (local.get $to) (f32.mul (local.get $weight) (f32.const 0.008333334)))
    (local.set $weight (f32.const 10))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const -20)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const -20)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 20)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 50)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 26)))
    (f32.store offset=12 (local.get $to) (f32.mul (local.get $weight) (f32.const 0.008333334)))
    (local.set $weight (f32.const -5))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 5)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 10)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 10)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 5)))
    (local.set $weight (f32.add (f32.mul (local.get $weight) (local.get $t)) (f32.const 1)))
    (f32.store offset=16 (local.get $to) (f32.mul (local.get $weight) (f32.const 0.008333334)))
    (local.set $weight (f32.const 1))
    (local.set $weight (f32.mul (local.get $weight) (local.get $t)))
    (local.set $weight (f32.mul (local.get $weight) (local.get $t)))
    (local.set $weight (f32.mul (local.get $weight) (local.get $t)))
    (local.set $weight (f32.mul (local.get $weight) (local.get $t)))
    (local.set $weight (f32.mul (local.get $weight) (local.get $t)))
    (f32.store offset=20 (local.get $to) (f32.mul (local.get $weight) (f32.const 0.008333334))))

  ;; Lines behind a filter, each read later by a shift of its own: eight at a time, four beside each other in a vector as
  ;; the real parts of one Fourier transform, and four as its imaginary parts.
  ;; $from, $from_row: address of the first line, and bytes from a line to the next; $to, $to_row: where they go.
  ;; $lines: how many, a multiple of 8. $length: samples of a line, a power of 4 or five times one.
  ;; $response: the filter at each bin from 0 to the middle one, complex64, over twice the length.
  ;; $units, $units_row: cosine of each line's shift at bin 1, and bytes from there to its sine.
  ;; $turns: exp(-2 pi i k / length) for each k, complex64. $work: room for twice a line of eight (64 bytes a sample).
  (func (export "filter_lines")
    (param $from i32) (param $from_row i32) (param $to i32) (param $to_row i32) (param $lines i32) (param $length i32)
    (param $response i32) (param $units i32) (param $units_row i32) (param $turns i32) (param $work i32)
    (local $other i32) (local $at i32)
    (local.set $other (i32.add (local.get $work) (i32.shl (local.get $length) (i32.const 5))))
    (block $done
      (loop $next
        (br_if $done (i32.eqz (local.get $lines)))
        (call $spread (local.get $from) (local.get $from_row) (local.get $work) (local.get $length))
        (call $spread
          (i32.add (local.get $from) (i32.shl (local.get $from_row) (i32.const 2))) (local.get $from_row)
          (i32.add (local.get $work) (i32.const 16)) (local.get $length))
        (local.set $at
          (call $transform (local.get $work) (local.get $other) (local.get $length) (local.get $turns)))
        (call $filter
          (local.get $at) (local.get $length) (local.get $response) (local.get $units) (local.get $units_row))
        ;; Of a spectrum whose real and imaginary parts have changed places, the transform gives what the inverse would,
        ;; with its parts in each other's place as well.
        (local.set $at
          (call $transform
            (local.get $at)
            (i32.sub (i32.add (local.get $work) (local.get $other)) (local.get $at))
            (local.get $length) (local.get $turns)))
        (call $gather (i32.add (local.get $at) (i32.const 16)) (local.get $to) (local.get $to_row) (local.get $length))
        (call $gather
          (local.get $at)
          (i32.add (local.get $to) (i32.shl (local.get $to_row) (i32.const 2))) (local.get $to_row) (local.get $length))
        (local.set $from (i32.add (local.get $from) (i32.shl (local.get $from_row) (i32.const 3))))
        (local.set $to (i32.add (local.get $to) (i32.shl (local.get $to_row) (i32.const 3))))
        (local.set $units (i32.add (local.get $units) (i32.const 32)))
        (local.set $lines (i32.sub (local.get $lines) (i32.const 8)))
        (br $next))))

  ;; Puts four lines beside each other: a vector for each sample, 32 bytes apart.
  (func $spread (param $from i32) (param $row i32) (param $to i32) (param $length i32)
    (local $end i32) (local $a v128) (local $b v128) (local $c v128) (local $d v128)
    (local $ab_low v128) (local $ab_high v128) (local $cd_low v128) (local $cd_high v128)
    (local.set $end (i32.add (local.get $from) (i32.shl (local.get $length) (i32.const 2))))
    (loop $next
      (local.set $a (v128.load (local.get $from)))
      (local.set $b (v128.load (i32.add (local.get $from) (local.get $row))))
      (local.set $c (v128.load (i32.add (local.get $from) (i32.shl (local.get $row) (i32.const 1)))))
      (local.set $d (v128.load (i32.add (local.get $from) (i32.mul (local.get $row) (i32.const 3)))))
      (local.set $ab_low (i8x16.shuffle 0 1 2 3 16 17 18 19 4 5 6 7 20 21 22 23 (local.get $a) (local.get $b)))
      (local.set $ab_high (i8x16.shuffle 8 9 10 11 24 25 26 27 12 13 14 15 28 29 30 31 (local.get $a) (local.get $b)))
      (local.set $cd_low (i8x16.shuffle 0 1 2 3 16 17 18 19 4 5 6 7 20 21 22 23 (local.get $c) (local.get $d)))
      (local.set $cd_high (i8x16.shuffle 8 9 10 11 24 25 26 27 12 13 14 15 28 29 30 31 (local.get $c) (local.get $d)))
      (v128.store (local.get $to)
        (i8x16.shuffle 0 1 2 3 4 5 6 7 16 17 18 19 20 21 22 23 (local.get $ab_low) (local.get $cd_low)))
      (v128.store offset=32 (local.get $to)
        (i8x16.shuffle 8 9 10 11 12 13 14 15 24 25 26 27 28 29 30 31 (local.get $ab_low) (local.get $cd_low)))
      (v128.store offset=64 (local.get $to)
        (i8x16.shuffle 0 1 2 3 4 5 6 7 16 17 18 19 20 21 22 23 (local.get $ab_high) (local.get $cd_high)))
      (v128.store offset=96 (local.get $to)
        (i8x16.shuffle 8 9 10 11 12 13 14 15 24 25 26 27 28 29 30 31 (local.get $ab_high) (local.get $cd_high)))
      (local.set $from (i32.add (local.get $from) (i32.const 16)))
      (local.set $to (i32.add (local.get $to) (i32.const 128)))
      (br_if $next (i32.lt_u (local.get $from) (local.get $end)))))

  ;; Takes four lines apart again.
  (func $gather (param $from i32) (param $to i32) (param $row i32) (param $length i32)
    (local $end i32) (local $a v128) (local $b v128) (local $c v128) (local $d v128)
    (local $ab_low v128) (local $ab_high v128) (local $cd_low v128) (local $cd_high v128)
    (local.set $end (i32.add (local.get $to) (i32.shl (local.get $length) (i32.const 2))))
    (loop $next
      (local.set $a (v128.load (local.get $from)))
      (local.set $b (v128.load offset=32 (local.get $from)))
      (local.set $c (v128.load offset=64 (local.get $from)))
      (local.set $d (v128.load offset=96 (local.get $from)))
      (local.set $ab_low (i8x16.shuffle 0 1 2 3 16 17 18 19 4 5 6 7 20 21 22 23 (local.get $a) (local.get $b)))
      (local.set $ab_high (i8x16.shuffle 8 9 10 11 24 25 26 27 12 13 14 15 28 29 30 31 (local.get $a) (local.get $b)))
      (local.set $cd_low (i8x16.shuffle 0 1 2 3 16 17 18 19 4 5 6 7 20 21 22 23 (local.get $c) (local.get $d)))
      (local.set $cd_high (i8x16.shuffle 8 9 10 11 24 25 26 27 12 13 14 15 28 29 30 31 (local.get $c) (local.get $d)))
      (v128.store (local.get $to)
        (i8x16.shuffle 0 1 2 3 4 5 6 7 16 17 18 19 20 21 22 23 (local.get $ab_low) (local.get $cd_low)))
      (v128.store (i32.add (local.get $to) (local.get $row))
        (i8x16.shuffle 8 9 10 11 12 13 14 15 24 25 26 27 28 29 30 31 (local.get $ab_low) (local.get $cd_low)))
      (v128.store (i32.add (local.get $to) (i32.shl (local.get $row) (i32.const 1)))
        (i8x16.shuffle 0 1 2 3 4 5 6 7 16 17 18 19 20 21 22 23 (local.get $ab_high) (local.get $cd_high)))
      (v128.store (i32.add (local.get $to) (i32.mul (local.get $row) (i32.const 3)))
        (i8x16.shuffle 8 9 10 11 12 13 14 15 24 25 26 27 28 29 30 31 (local.get $ab_high) (local.get $cd_high)))
      (local.set $from (i32.add (local.get $from) (i32.const 128)))
      (local.set $to (i32.add (local.get $to) (i32.const 16)))
      (br_if $next (i32.lt_u (local.get $to) (local.get $end)))))

  ;; Four Fourier transforms beside each other, by steps that each take four parts together and put what comes of them in
  ;; its right order (Stockham's). $x: the samples, 16 bytes of real parts and 16 of imaginary ones each; $y: room for as
  ;; many. The result is where the address that is returned says.
  (func $transform (param $x i32) (param $y i32) (param $length i32) (param $turns i32) (result i32)
    (local $stride i32) (local $whole i32) (local $quarter i32)
    (local $from i32) (local $to i32) (local $row_end i32) (local $end i32) (local $turn i32) (local $turn_step i32)
    (local $w1_re v128) (local $w1_im v128) (local $w2_re v128) (local $w2_im v128)
    (local $w3_re v128) (local $w3_im v128)
    (local $a_re v128) (local $a_im v128) (local $b_re v128) (local $b_im v128)
    (local $c_re v128) (local $c_im v128) (local $d_re v128) (local $d_im v128)
    (local $ac_re v128) (local $ac_im v128) (local $bd_re v128) (local $bd_im v128) (local $re v128) (local $im v128)
    (local.set $whole (i32.shl (local.get $length) (i32.const 5)))
    (local.set $quarter (i32.shl (local.get $length) (i32.const 3)))
    (local.set $stride (i32.const 32))
    ;; A power of 4 has one bit, five times one has two.
    (if (i32.gt_u (i32.popcnt (local.get $length)) (i32.const 1))
      (then
        (call $fifths (local.get $x) (local.get $y) (local.get $length) (local.get $turns))
        (local.set $from (local.get $x))
        (local.set $x (local.get $y))
        (local.set $y (local.get $from))
        (local.set $stride (i32.const 160))))
    (loop $stage
      (local.set $from (local.get $x))
      (local.set $end (i32.add (local.get $x) (local.get $quarter)))
      (local.set $to (local.get $y))
      (local.set $turn (i32.const 0))
      (local.set $turn_step (i32.shr_u (local.get $stride) (i32.const 2)))
      (loop $part
        (local.set $w1_re (v128.load32_splat (i32.add (local.get $turns) (local.get $turn))))
        (local.set $w1_im (v128.load32_splat offset=4 (i32.add (local.get $turns) (local.get $turn))))
        (local.set $w2_re
          (v128.load32_splat (i32.add (local.get $turns) (i32.shl (local.get $turn) (i32.const 1)))))
        (local.set $w2_im
          (v128.load32_splat offset=4 (i32.add (local.get $turns) (i32.shl (local.get $turn) (i32.const 1)))))
        (local.set $w3_re
          (v128.load32_splat (i32.add (local.get $turns) (i32.mul (local.get $turn) (i32.const 3)))))
        (local.set $w3_im
          (v128.load32_splat offset=4 (i32.add (local.get $turns) (i32.mul (local.get $turn) (i32.const 3)))))
        (local.set $row_end (i32.add (local.get $from) (local.get $stride)))
        (loop $along
          (local.set $a_re (v128.load (local.get $from)))
          (local.set $a_im (v128.load offset=16 (local.get $from)))
          (local.set $b_re (v128.load (i32.add (local.get $from) (local.get $quarter))))
          (local.set $b_im (v128.load offset=16 (i32.add (local.get $from) (local.get $quarter))))
          (local.set $c_re (v128.load (i32.add (local.get $from) (i32.shl (local.get $quarter) (i32.const 1)))))
          (local.set $c_im
            (v128.load offset=16 (i32.add (local.get $from) (i32.shl (local.get $quarter) (i32.const 1)))))
          (local.set $d_re (v128.load (i32.add (local.get $from) (i32.mul (local.get $quarter) (i32.const 3)))))
          (local.set $d_im
            (v128.load offset=16 (i32.add (local.get $from) (i32.mul (local.get $quarter) (i32.const 3)))))
          ;; Of two parts half a period apart, the sum,
          (local.set $ac_re (f32x4.add (local.get $a_re) (local.get $c_re)))
          (local.set $ac_im (f32x4.add (local.get $a_im) (local.get $c_im)))
          (local.set $bd_re (f32x4.add (local.get $b_re) (local.get $d_re)))
          (local.set $bd_im (f32x4.add (local.get $b_im) (local.get $d_im)))
          ;; and the difference.
          (local.set $a_re (f32x4.sub (local.get $a_re) (local.get $c_re)))
          (local.set $a_im (f32x4.sub (local.get $a_im) (local.get $c_im)))
          (local.set $b_re (f32x4.sub (local.get $b_re) (local.get $d_re)))
          (local.set $b_im (f32x4.sub (local.get $b_im) (local.get $d_im)))
          (v128.store (local.get $to) (f32x4.add (local.get $ac_re) (local.get $bd_re)))
          (v128.store offset=16 (local.get $to) (f32x4.add (local.get $ac_im) (local.get $bd_im)))
          ;; The differences, the second one turned back by a quarter.
          (local.set $re (f32x4.add (local.get $a_re) (local.get $b_im)))
          (local.set $im (f32x4.sub (local.get $a_im) (local.get $b_re)))
          (v128.store (i32.add (local.get $to) (local.get $stride)) (f32x4.sub
            (f32x4.mul (local.get $re) (local.get $w1_re)) (f32x4.mul (local.get $im) (local.get $w1_im))))
          (v128.store offset=16 (i32.add (local.get $to) (local.get $stride)) (f32x4.add
            (f32x4.mul (local.get $re) (local.get $w1_im)) (f32x4.mul (local.get $im) (local.get $w1_re))))
          (local.set $re (f32x4.sub (local.get $ac_re) (local.get $bd_re)))
          (local.set $im (f32x4.sub (local.get $ac_im) (local.get $bd_im)))
          (v128.store (i32.add (local.get $to) (i32.shl (local.get $stride) (i32.const 1))) (f32x4.sub
            (f32x4.mul (local.get $re) (local.get $w2_re)) (f32x4.mul (local.get $im) (local.get $w2_im))))
          (v128.store offset=16 (i32.add (local.get $to) (i32.shl (local.get $stride) (i32.const 1))) (f32x4.add
            (f32x4.mul (local.get $re) (local.get $w2_im)) (f32x4.mul (local.get $im) (local.get $w2_re))))
          (local.set $re (f32x4.sub (local.get $a_re) (local.get $b_im)))
          (local.set $im (f32x4.add (local.get $a_im) (local.get $b_re)))
          (v128.store (i32.add (local.get $to) (i32.mul (local.get $stride) (i32.const 3))) (f32x4.sub
            (f32x4.mul (local.get $re) (local.get $w3_re)) (f32x4.mul (local.get $im) (local.get $w3_im))))
          (v128.store offset=16 (i32.add (local.get $to) (i32.mul (local.get $stride) (i32.const 3))) (f32x4.add
            (f32x4.mul (local.get $re) (local.get $w3_im)) (f32x4.mul (local.get $im) (local.get $w3_re))))
          (local.set $from (i32.add (local.get $from) (i32.const 32)))
          (local.set $to (i32.add (local.get $to) (i32.const 32)))
          (br_if $along (i32.lt_u (local.get $from) (local.get $row_end))))
        (local.set $to (i32.add (local.get $to) (i32.mul (local.get $stride) (i32.const 3))))
        (local.set $turn (i32.add (local.get $turn) (local.get $turn_step)))
        (br_if $part (i32.lt_u (local.get $from) (local.get $end))))
      (local.set $from (local.get $x))
      (local.set $x (local.get $y))
      (local.set $y (local.get $from))
      (local.set $stride (i32.shl (local.get $stride) (i32.const 2)))
      (br_if $stage (i32.lt_u (local.get $stride) (local.get $whole))))
    (local.get $x))

  ;; The first step of a transform whose length is five times a power of 4: it takes five parts together, as $transform
  ;; does four. Its result is in $y.
  (func $fifths (param $x i32) (param $y i32) (param $length i32) (param $turns i32)
    (local $fifth i32) (local $end i32) (local $turn i32)
    (local $a_re v128) (local $a_im v128) (local $b_re v128) (local $b_im v128) (local $c_re v128) (local $c_im v128)
    (local $d_re v128) (local $d_im v128) (local $e_re v128) (local $e_im v128)
    (local $near_re v128) (local $near_im v128) (local $far_re v128) (local $far_im v128)
    (local.set $fifth (i32.div_u (i32.shl (local.get $length) (i32.const 5)) (i32.const 5)))
    (local.set $end (i32.add (local.get $x) (local.get $fifth)))
    (loop $next
      (local.set $a_re (v128.load (local.get $x)))
      (local.set $a_im (v128.load offset=16 (local.get $x)))
      ;; Parts as far before as behind: their sums and differences.
      (local.set $b_re (v128.load (i32.add (local.get $x) (local.get $fifth))))
      (local.set $b_im (v128.load offset=16 (i32.add (local.get $x) (local.get $fifth))))
      (local.set $c_re (v128.load (i32.add (local.get $x) (i32.mul (local.get $fifth) (i32.const 2)))))
      (local.set $c_im (v128.load offset=16 (i32.add (local.get $x) (i32.mul (local.get $fifth) (i32.const 2)))))
      (local.set $d_re (v128.load (i32.add (local.get $x) (i32.mul (local.get $fifth) (i32.const 3)))))
      (local.set $d_im (v128.load offset=16 (i32.add (local.get $x) (i32.mul (local.get $fifth) (i32.const 3)))))
      (local.set $e_re (v128.load (i32.add (local.get $x) (i32.mul (local.get $fifth) (i32.const 4)))))
      (local.set $e_im (v128.load offset=16 (i32.add (local.get $x) (i32.mul (local.get $fifth) (i32.const 4)))))
      (local.set $near_re (f32x4.add (local.get $b_re) (local.get $e_re)))
      (local.set $far_re (f32x4.add (local.get $c_re) (local.get $d_re)))
      (local.set $b_re (f32x4.sub (local.get $b_re) (local.get $e_re)))
      (local.set $c_re (f32x4.sub (local.get $c_re) (local.get $d_re)))
      (local.set $near_im (f32x4.add (local.get $b_im) (local.get $e_im)))
      (local.set $far_im (f32x4.add (local.get $c_im) (local.get $d_im)))
      (local.set $b_im (f32x4.sub (local.get $b_im) (local.get $e_im)))
      (local.set $c_im (f32x4.sub (local.get $c_im) (local.get $d_im)))
      (v128.store (local.get $y)
        (f32x4.add (local.get $a_re) (f32x4.add (local.get $near_re) (local.get $far_re))))
      (v128.store offset=16 (local.get $y)
        (f32x4.add (local.get $a_im) (f32x4.add (local.get $near_im) (local.get $far_im))))
      ;; Cosines and sines of 72 and 144 degrees.
      (local.set $d_re (f32x4.add (local.get $a_re) (f32x4.add
        (f32x4.mul (local.get $near_re) (f32x4.splat (f32.const 0.309016994)))
        (f32x4.mul (local.get $far_re) (f32x4.splat (f32.const -0.809016994))))))
      (local.set $e_re (f32x4.add (local.get $a_re) (f32x4.add
        (f32x4.mul (local.get $near_re) (f32x4.splat (f32.const -0.809016994)))
        (f32x4.mul (local.get $far_re) (f32x4.splat (f32.const 0.309016994))))))
      (local.set $near_re (f32x4.add
        (f32x4.mul (local.get $b_re) (f32x4.splat (f32.const 0.951056516)))
        (f32x4.mul (local.get $c_re) (f32x4.splat (f32.const 0.587785252)))))
      (local.set $far_re (f32x4.add
        (f32x4.mul (local.get $b_re) (f32x4.splat (f32.const 0.587785252)))
        (f32x4.mul (local.get $c_re) (f32x4.splat (f32.const -0.951056516)))))
      (local.set $d_im (f32x4.add (local.get $a_im) (f32x4.add
        (f32x4.mul (local.get $near_im) (f32x4.splat (f32.const 0.309016994)))
        (f32x4.mul (local.get $far_im) (f32x4.splat (f32.const -0.809016994))))))
      (local.set $e_im (f32x4.add (local.get $a_im) (f32x4.add
        (f32x4.mul (local.get $near_im) (f32x4.splat (f32.const -0.809016994)))
        (f32x4.mul (local.get $far_im) (f32x4.splat (f32.const 0.309016994))))))
      (local.set $near_im (f32x4.add
        (f32x4.mul (local.get $b_im) (f32x4.splat (f32.const 0.951056516)))
        (f32x4.mul (local.get $c_im) (f32x4.splat (f32.const 0.587785252)))))
      (local.set $far_im (f32x4.add
        (f32x4.mul (local.get $b_im) (f32x4.splat (f32.const 0.587785252)))
        (f32x4.mul (local.get $c_im) (f32x4.splat (f32.const -0.951056516)))))
      (call $store_turned
        (i32.add (local.get $y) (i32.const 32))
        (f32x4.add (local.get $d_re) (local.get $near_im))
        (f32x4.sub (local.get $d_im) (local.get $near_re))
        (i32.add (local.get $turns) (local.get $turn)))
      (call $store_turned
        (i32.add (local.get $y) (i32.const 64))
        (f32x4.add (local.get $e_re) (local.get $far_im))
        (f32x4.sub (local.get $e_im) (local.get $far_re))
        (i32.add (local.get $turns) (i32.mul (local.get $turn) (i32.const 2))))
      (call $store_turned
        (i32.add (local.get $y) (i32.const 96))
        (f32x4.sub (local.get $e_re) (local.get $far_im))
        (f32x4.add (local.get $e_im) (local.get $far_re))
        (i32.add (local.get $turns) (i32.mul (local.get $turn) (i32.const 3))))
      (call $store_turned
        (i32.add (local.get $y) (i32.const 128))
        (f32x4.sub (local.get $d_re) (local.get $near_im))
        (f32x4.add (local.get $d_im) (local.get $near_re))
        (i32.add (local.get $turns) (i32.mul (local.get $turn) (i32.const 4))))
      (local.set $turn (i32.add (local.get $turn) (i32.const 8)))
      (local.set $x (i32.add (local.get $x) (i32.const 32)))
      (local.set $y (i32.add (local.get $y) (i32.const 160)))
      (br_if $next (i32.lt_u (local.get $x) (local.get $end)))))

  ;; Four complex values, turned by what stands at $turn.
  (func $store_turned (param $to i32) (param $re v128) (param $im v128) (param $turn i32)
    (local $w_re v128) (local $w_im v128)
    (local.set $w_re (v128.load32_splat (local.get $turn)))
    (local.set $w_im (v128.load32_splat offset=4 (local.get $turn)))
    (v128.store (local.get $to) (f32x4.sub
      (f32x4.mul (local.get $re) (local.get $w_re)) (f32x4.mul (local.get $im) (local.get $w_im))))
    (v128.store offset=16 (local.get $to) (f32x4.add
      (f32x4.mul (local.get $re) (local.get $w_im)) (f32x4.mul (local.get $im) (local.get $w_re)))))

  ;; The filter and the shifts, on a spectrum of two times four real lines, in its place; real and imaginary parts change
  ;; places.
  (func $filter (param $low i32) (param $length i32) (param $response i32) (param $units i32) (param $row i32)
    (local $high i32)
    (local $u_re v128) (local $u_im v128) (local $v_re v128) (local $v_im v128)
    (local $a_turn_re v128) (local $a_turn_im v128) (local $b_turn_re v128) (local $b_turn_im v128)
    (local $h_re v128) (local $h_im v128) (local $g_re v128) (local $g_im v128)
    (local $low_re v128) (local $low_im v128) (local $high_re v128) (local $high_im v128)
    (local $a_re v128) (local $a_im v128) (local $b_re v128) (local $b_im v128) (local $re v128) (local $im v128)
    (local.set $u_re (v128.load (local.get $units)))
    (local.set $u_im (v128.load (i32.add (local.get $units) (local.get $row))))
    (local.set $v_re (v128.load offset=16 (local.get $units)))
    (local.set $v_im (v128.load offset=16 (i32.add (local.get $units) (local.get $row))))
    (local.set $a_turn_re (f32x4.splat (f32.const 1)))
    (local.set $b_turn_re (f32x4.splat (f32.const 1)))
    ;; Bin 0 is real in both fours of lines, and no shift turns it.
    (local.set $h_re (v128.load32_splat (local.get $response)))
    (local.set $h_re (f32x4.add (local.get $h_re) (local.get $h_re)))
    (local.set $re (f32x4.mul (v128.load (local.get $low)) (local.get $h_re)))
    (v128.store (local.get $low) (f32x4.mul (v128.load offset=16 (local.get $low)) (local.get $h_re)))
    (v128.store offset=16 (local.get $low) (local.get $re))
    (local.set $high (i32.add (local.get $low) (i32.shl (i32.sub (local.get $length) (i32.const 1)) (i32.const 5))))
    (local.set $low (i32.add (local.get $low) (i32.const 32)))
    (local.set $response (i32.add (local.get $response) (i32.const 8)))
    (loop $next
      ;; One bin further, the shift turns further.
      (local.set $re (f32x4.sub
        (f32x4.mul (local.get $a_turn_re) (local.get $u_re)) (f32x4.mul (local.get $a_turn_im) (local.get $u_im))))
      (local.set $a_turn_im (f32x4.add
        (f32x4.mul (local.get $a_turn_re) (local.get $u_im)) (f32x4.mul (local.get $a_turn_im) (local.get $u_re))))
      (local.set $a_turn_re (local.get $re))
      (local.set $re (f32x4.sub
        (f32x4.mul (local.get $b_turn_re) (local.get $v_re)) (f32x4.mul (local.get $b_turn_im) (local.get $v_im))))
      (local.set $b_turn_im (f32x4.add
        (f32x4.mul (local.get $b_turn_re) (local.get $v_im)) (f32x4.mul (local.get $b_turn_im) (local.get $v_re))))
      (local.set $b_turn_re (local.get $re))
      ;; Of the spectrum at a bin and at its mirror image, the even part is that of the first four lines, twice,
      (local.set $low_re (v128.load (local.get $low)))
      (local.set $low_im (v128.load offset=16 (local.get $low)))
      (local.set $high_re (v128.load (local.get $high)))
      (local.set $high_im (v128.load offset=16 (local.get $high)))
      (local.set $a_re (f32x4.add (local.get $low_re) (local.get $high_re)))
      (local.set $a_im (f32x4.sub (local.get $low_im) (local.get $high_im)))
      ;; the odd part that of the others.
      (local.set $b_re (f32x4.add (local.get $low_im) (local.get $high_im)))
      (local.set $b_im (f32x4.sub (local.get $high_re) (local.get $low_re)))
      (local.set $h_re (v128.load32_splat (local.get $response)))
      (local.set $h_im (v128.load32_splat offset=4 (local.get $response)))
      (local.set $g_re (f32x4.sub
        (f32x4.mul (local.get $a_turn_re) (local.get $h_re)) (f32x4.mul (local.get $a_turn_im) (local.get $h_im))))
      (local.set $g_im (f32x4.add
        (f32x4.mul (local.get $a_turn_re) (local.get $h_im)) (f32x4.mul (local.get $a_turn_im) (local.get $h_re))))
      (local.set $re (f32x4.sub
        (f32x4.mul (local.get $a_re) (local.get $g_re)) (f32x4.mul (local.get $a_im) (local.get $g_im))))
      (local.set $a_im (f32x4.add
        (f32x4.mul (local.get $a_re) (local.get $g_im)) (f32x4.mul (local.get $a_im) (local.get $g_re))))
      (local.set $a_re (local.get $re))
      (local.set $g_re (f32x4.sub
        (f32x4.mul (local.get $b_turn_re) (local.get $h_re)) (f32x4.mul (local.get $b_turn_im) (local.get $h_im))))
      (local.set $g_im (f32x4.add
        (f32x4.mul (local.get $b_turn_re) (local.get $h_im)) (f32x4.mul (local.get $b_turn_im) (local.get $h_re))))
      (local.set $re (f32x4.sub
        (f32x4.mul (local.get $b_re) (local.get $g_re)) (f32x4.mul (local.get $b_im) (local.get $g_im))))
      (local.set $b_im (f32x4.add
        (f32x4.mul (local.get $b_re) (local.get $g_im)) (f32x4.mul (local.get $b_im) (local.get $g_re))))
      (local.set $b_re (local.get $re))
      ;; In the middle a bin is its own mirror image: of either four lines only what is real is left.
      (if (i32.eq (local.get $low) (local.get $high))
        (then
          (v128.store (local.get $low) (local.get $b_re))
          (v128.store offset=16 (local.get $low) (local.get $a_re)))
        (else
          (v128.store (local.get $low) (f32x4.add (local.get $a_im) (local.get $b_re)))
          (v128.store offset=16 (local.get $low) (f32x4.sub (local.get $a_re) (local.get $b_im)))
          (v128.store (local.get $high) (f32x4.sub (local.get $b_re) (local.get $a_im)))
          (v128.store offset=16 (local.get $high) (f32x4.add (local.get $a_re) (local.get $b_im)))))
      (local.set $response (i32.add (local.get $response) (i32.const 8)))
      (local.set $low (i32.add (local.get $low) (i32.const 32)))
      (local.set $high (i32.sub (local.get $high) (i32.const 32)))
      (br_if $next (i32.le_u (local.get $low) (local.get $high)))))
)
