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
          (f32x4.min (local.get $abs_re) (local.get $abs_im))
          (f32x4.max
            (f32x4.max (local.get $abs_re) (local.get $abs_im))
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

  ;; Straight lines: `segments` times `runs` runs of `length` values, the runs of a segment one behind the other.
  ;; $start, $rise: addresses of each run's first value, and of by how much each value is larger than the one before.
  ;; $row: bytes from a segment of $to to the next.
  (func (export "fill_runs")
    (param $start i32) (param $rise i32) (param $to i32)
    (param $segments i32) (param $runs i32) (param $length i32) (param $row i32)
    (local $at i32) (local $end i32) (local $run i32) (local $place f32) (local $first f32) (local $step f32)
    (block $done
      (loop $segment
        (br_if $done (i32.eqz (local.get $segments)))
        (local.set $at (local.get $to))
        (local.set $run (local.get $runs))
        (loop $next
          (local.set $first (f32.load (local.get $start)))
          (local.set $step (f32.load (local.get $rise)))
          (local.set $place (f32.const 0))
          (local.set $end (i32.add (local.get $at) (i32.shl (local.get $length) (i32.const 2))))
          (loop $along
            (f32.store (local.get $at) (f32.add (f32.mul (local.get $step) (local.get $place)) (local.get $first)))
            (local.set $place (f32.add (local.get $place) (f32.const 1)))
            (local.set $at (i32.add (local.get $at) (i32.const 4)))
            (br_if $along (i32.lt_u (local.get $at) (local.get $end))))
          (local.set $start (i32.add (local.get $start) (i32.const 4)))
          (local.set $rise (i32.add (local.get $rise) (i32.const 4)))
          (local.set $run (i32.sub (local.get $run) (i32.const 1)))
          (br_if $next (local.get $run)))
        (local.set $to (i32.add (local.get $to) (local.get $row)))
        (local.set $segments (i32.sub (local.get $segments) (i32.const 1)))
        (br $segment))))
)
