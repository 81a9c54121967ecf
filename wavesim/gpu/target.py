"""What the functions on a GPU are compiled with: the only place here that names its compiler.

Three things differ from a processor.  Many threads share a loop: `first` and `step` say which of
its passes are a thread's own.  They wait for each other at a `barrier`.  And arrays are not handed
over: all of a point lies in stretches of words of 8 bytes, of which `view_1` to `view_3`, `row`,
`rows` and `by_columns` make arrays.

With NUMBA_ENABLE_CUDASIM=1 the same names work in plain Python and without a GPU, where tests hold
the threads as numba's simulator does, and compare small marches with the processor.
"""

import functools
import math

import numpy as np

from wavesim.gpu import slots

if not hasattr(np, "row_stack"):  # numba-cuda asks for it, numpy 2.5 has it no more
    np.row_stack = np.vstack

try:
    from numba import cuda
    from numba.core import config
except ImportError:  # said in a sentence by `wavesim.gpu.device`
    config = None

SIMULATED = config is not None and bool(config.ENABLE_CUDASIM)
WARP = 4 if SIMULATED else 32
CREW = 8 if SIMULATED else slots.CREW
#: Neighbouring ends that one warp takes, but for solving them, see `warp_of_flow`.
ENDS_A_WARP = 2 if SIMULATED else 12
LAST_WAITS = False  # True for checks that do not understand a barrier of some warps alone

if SIMULATED:
    from numba.cuda.simulator.kernel import _get_kernel_context as _now

    _arrays = {}  # what stands for addresses, by number
    _met = {}  # what threads tell each other, by thread and turn

    def show(address, array):
        """Let `address` stand for an array of words."""
        _arrays[address] = array

    def function(written):
        """A function that runs on the GPU."""
        return written

    part = function

    def crew():
        """Which crew of its block a thread belongs to."""
        return _now().threadIdx.x // CREW

    def crew_of_launch():
        """Which crew of all that are at work in a launch."""
        now = _now()
        return now.blockIdx.x * (now.blockDim.x // CREW) + crew()

    def thread():
        """Number of a thread in its crew."""
        return _now().threadIdx.x % CREW

    def threads():
        """How many a crew has."""
        return CREW

    def barrier():
        """Where the threads of a crew wait for each other."""
        _now().syncthreads()

    def meet():
        """A barrier for all warps of a crew but the last, which has no store."""
        if LAST_WAITS:
            barrier()
        elif thread() < CREW - WARP:
            _now().syncothers()

    def line_up(is_busy):
        """Where all threads of a block wait for each other; True if one of them is busy."""
        return _now().syncthreads_or(is_busy) != 0

    def add_to(values, place, number):
        """Add at a place that other threads may add to as well; returns what was there."""
        return _now().atomic.add(values, place, number)

    def highest(values, place, number):
        """Raise a value to the highest number of all threads."""
        _now().atomic.max(values, place, number)

    def _of_others(value):
        """What the threads of a warp have found, by their number."""
        now = _now()
        turn = _met[now, thread()] = not _met.get((now, thread()), False)
        _met[now, thread(), turn] = value  # until the turn after the next
        now.syncwarp()
        return lambda other: _met[now, other, turn]

    def below(values):
        """The same values of the lane below, for all lanes of a warp but the first."""
        return _of_others(values)(thread() - 1 if lane() > 0 else thread())

    def of_four(place, value):
        """What one of four lanes has found."""
        return _of_others(value)(thread() - place_in_four() + place)

    def near(first):
        """The words that the threads of a block share, from one on."""
        return _now().shared.array(0, np.dtype(np.float64))[first:]

    def words(address):
        """All words from an address on."""
        return _arrays[address]

    def whole(base):
        """The same words as whole numbers."""
        return base.view(np.int64)

    def half(base):
        """The same words as single precision numbers, two a word."""
        return base.view(np.float32)

    def _view(base, table, place, dimensions):
        at, *shape = table[place:place + 1 + dimensions]
        return base[8 // base.itemsize * at:][:np.prod(shape)].reshape(shape)

    def view_1(base, table, place):
        return _view(base, table, place, 1)

    def view_2(base, table, place):
        return _view(base, table, place, 2)

    def view_3(base, table, place):
        return _view(base, table, place, 3)

    def rows(bench, first, number):
        """Some rows of a bench as an array; longer than what is used of them."""
        return bench[first * slots.ROW:][:number * slots.ROW].reshape(number, slots.ROW)

    def row(bench, first, length):
        """One row of a bench, so long as it is used."""
        return bench[first * slots.ROW:][:length]

    def by_columns(base, number, count):
        """An array (number, count) that lies column by column."""
        return base[:number * count].reshape(count, number).T

    def divided(a, b):
        return np.float64(a) / b

    root, logarithm, exponential = math.sqrt, math.log, math.exp

    def clock():
        return 0

elif config is not None:
    from llvmlite import ir
    from numba.cuda import types
    from numba.cuda.extending import intrinsic
    from numba.cuda.np.arrayobj import make_array, populate_array

    function = functools.partial(cuda.jit, device=True)
    part = functools.partial(cuda.jit, device=True, forceinline=True)

    @part
    def crew():
        return cuda.threadIdx.x // CREW

    @intrinsic
    def _asked(typing):
        """Number of a thread in its block, asked for anew each time: to keep it takes longer."""
        def generate(context, builder, signature, arguments):
            kind = ir.FunctionType(ir.IntType(32), [])
            ask = ir.InlineAsm(kind, "mov.u32 $0, %tid.x;", "=r", side_effect=True)
            return builder.call(ask, [])

        return types.int32(), generate

    @part
    def crew_of_launch():
        return cuda.blockIdx.x * (cuda.blockDim.x // CREW) + crew()

    @part
    def thread():
        # From crew to crew another quarter of the multiprocessor has the first warp, which has
        # most to do while a few threads work for all.
        number = _asked()
        return (number + WARP * (number // CREW)) % CREW

    @part
    def threads():
        return CREW

    def _wait_with(count):
        @intrinsic
        def called(typing, number):
            def generate(context, builder, signature, arguments):
                kind = ir.FunctionType(ir.VoidType(), [ir.IntType(32)])
                wait = ir.InlineAsm(kind, f"bar.sync $0, {count};", "r", side_effect=True)
                builder.call(wait, arguments, attrs=("convergent",))
                return context.get_dummy_value()

            return types.none(types.int32), generate

        return called

    _wait_for_crew, _wait_for_others = _wait_with(CREW), _wait_with(CREW - WARP)
    _CREWS_AT, _MEETINGS_AT = 1, 8  # numbers of barriers, of which the block has the first

    @part
    def barrier():
        _wait_for_crew(np.int32(_CREWS_AT + crew()))

    @part
    def meet():
        if LAST_WAITS:
            barrier()
        elif thread() < CREW - WARP:
            _wait_for_others(np.int32(_MEETINGS_AT + crew()))

    @part
    def line_up(is_busy):
        return cuda.syncthreads_or(np.int32(is_busy)) != 0

    @part
    def add_to(values, place, number):
        return cuda.atomic.add(values, place, number)

    @part
    def highest(values, place, number):
        for far in (16, 8, 4, 2, 1):
            number = max(number, cuda.shfl_down_sync(0xFFFFFFFF, number, far))
        if cuda.laneid == 0:
            cuda.atomic.max(values, place, number)

    @intrinsic
    def below(typing, values):
        """The same values of the lane below, for all lanes of a warp but the first."""
        def generate(context, builder, signature, arguments):
            half = ir.IntType(32)
            kind = ir.FunctionType(half, [half])
            up = ir.InlineAsm(kind, "shfl.sync.up.b32 $0, $1, 1, 0, 0xffffffff;", "=r,r",
                              side_effect=True)

            def moved(value):
                word = builder.bitcast(value, ir.IntType(64))
                shift = ir.Constant(word.type, 32)
                low, high = (
                    builder.zext(builder.call(up, [builder.trunc(part, half)],
                                              attrs=("convergent",)), word.type)
                    for part in (word, builder.lshr(word, shift))
                )
                return builder.bitcast(builder.or_(low, builder.shl(high, shift)), value.type)

            given = arguments[0]
            for place in range(len(signature.args[0])):
                one = moved(builder.extract_value(given, place))
                given = builder.insert_value(given, one, place)
            return given

        return values(values), generate

    @part
    def of_four(place, value):
        """What one of four lanes has found."""
        first = cuda.laneid - cuda.laneid % 4
        return cuda.shfl_sync(15 << first, value, first + place)

    _GLOBAL, _SHARED = 1, 3  # address spaces: of the device, and of a block
    _NEAR = "wavesim_near"

    def _described(context, builder, result, data, shape):
        """LLVM value of an array from where it begins and its lengths."""
        size = context.get_abi_sizeof(context.get_data_type(result.dtype))
        strides, each = [], ir.Constant(ir.IntType(64), size)
        for length in shape if result.layout == "F" else reversed(shape):
            strides.append(each)
            each = builder.mul(each, length)
        if result.layout != "F":
            strides.reverse()
        array = make_array(result)(context, builder)
        populate_array(array, data=data, shape=shape, strides=strides, itemsize=size, meminfo=None)
        return array._getvalue()

    @intrinsic
    def words(typing, address):
        """All words from an address on."""
        result = types.Array(types.float64, 1, "C")

        def generate(context, builder, signature, arguments):
            held = ir.PointerType(ir.DoubleType(), addrspace=_GLOBAL)
            there = builder.inttoptr(arguments[0], held)
            there = builder.addrspacecast(there, ir.PointerType(ir.DoubleType()))
            return _described(context, builder, result, there, [ir.Constant(ir.IntType(64), 1)])

        return result(types.int64), generate

    @intrinsic
    def near(typing, first):
        """The words that the threads of a block share, from one on; how many a launch says."""
        result = types.Array(types.float64, 1, "C")

        def generate(context, builder, signature, arguments):
            held = builder.module.globals.get(_NEAR)
            if held is None:
                held = ir.GlobalVariable(
                    builder.module, ir.ArrayType(ir.DoubleType(), 0), _NEAR, _SHARED
                )
                held.linkage, held.align = "external", 16
            there = builder.addrspacecast(held, ir.PointerType(ir.ArrayType(ir.DoubleType(), 0)))
            there = builder.bitcast(there, ir.PointerType(ir.DoubleType()))
            there = builder.gep(there, arguments)
            return _described(context, builder, result, there, [ir.Constant(ir.IntType(64), 1)])

        return result(types.int64), generate

    def _as(kind):
        @intrinsic
        def other(typing, base):
            result = types.Array(kind, 1, "C")

            def generate(context, builder, signature, arguments):
                given = make_array(signature.args[0])(context, builder, arguments[0])
                data = builder.bitcast(given.data, context.get_data_type(kind).as_pointer())
                return _described(context, builder, result, data,
                                  [ir.Constant(ir.IntType(64), 1)])

            return result(base), generate

        return other

    whole, half = _as(types.int64), _as(types.float32)

    def _view(context, builder, signature, arguments):
        given, told = (make_array(kind)(context, builder, value)
                       for kind, value in zip(signature.args, arguments[:2], strict=False))
        place, result = arguments[2], signature.return_type
        entry = [
            builder.load(builder.gep(told.data, [builder.add(place, place.type(i))]))
            for i in range(result.ndim + 1)
        ]
        a_word = 8 // context.get_abi_sizeof(context.get_data_type(result.dtype))
        data = builder.gep(given.data, [builder.mul(place.type(a_word), entry[0])])
        return _described(context, builder, result, data, entry[1:])

    def _typed(base, table, lengths):
        return types.Array(base.dtype, lengths, "C")(base, table, types.int64), _view

    @intrinsic
    def view_1(typing, base, table, place):
        """An array whose first word and length stand in a table from a place on."""
        return _typed(base, table, 1)

    @intrinsic
    def view_2(typing, base, table, place):
        return _typed(base, table, 2)

    @intrinsic
    def view_3(typing, base, table, place):
        return _typed(base, table, 3)

    def _part_of(context, builder, signature, base, at, shape):
        """Array of some shape in the words of another, from one on."""
        data = make_array(signature.args[0])(context, builder, base).data
        return _described(context, builder, signature.return_type, builder.gep(data, [at]), shape)

    def _word(number):
        return ir.Constant(ir.IntType(64), number)

    @intrinsic
    def rows(typing, bench, first, number):
        def generate(context, builder, signature, arguments):
            base, first, number = arguments
            return _part_of(context, builder, signature, base,
                            builder.mul(first, _word(slots.ROW)), [number, _word(slots.ROW)])

        return types.Array(bench.dtype, 2, "C")(bench, types.int64, types.int64), generate

    @intrinsic
    def row(typing, bench, first, length):
        def generate(context, builder, signature, arguments):
            base, first, length = arguments
            return _part_of(context, builder, signature, base,
                            builder.mul(first, _word(slots.ROW)), [length])

        return types.Array(bench.dtype, 1, "C")(bench, types.int64, types.int64), generate

    @intrinsic
    def by_columns(typing, base, number, count):
        def generate(context, builder, signature, arguments):
            return _part_of(context, builder, signature, arguments[0], _word(0), arguments[1:])

        return types.Array(base.dtype, 2, "F")(base, types.int64, types.int64), generate

    def _once(name):
        """A function of the mathematical library that is not written into what calls it.

        The march calls some of them in a hundred places, and its code would not fit where the GPU
        keeps what it runs.
        """
        @intrinsic
        def called(typing, x):
            def generate(context, builder, signature, arguments):
                kind, module = ir.FunctionType(ir.DoubleType(), [ir.DoubleType()]), builder.module
                own = module.globals.get(f"wavesim_{name}")
                if own is None:
                    own = ir.Function(module, kind, f"wavesim_{name}")
                    own.linkage = "linkonce_odr"
                    own.attributes.add("noinline")
                    there = module.globals.get(f"__nv_{name}") or ir.Function(
                        module, kind, f"__nv_{name}")
                    body = ir.IRBuilder(own.append_basic_block())
                    body.ret(body.call(there, own.args))
                return builder.call(own, arguments)

            return types.float64(types.float64), generate

        return called

    _log, _exp = _once("log"), _once("exp")

    @part
    def logarithm(x):
        return _log(types.float64(x))

    @part
    def exponential(x):
        return _exp(types.float64(x))

    @intrinsic
    def clock(typing):
        """Ticks of the multiprocessor."""
        def generate(context, builder, signature, arguments):
            number = ir.IntType(64)
            kind = ir.FunctionType(number, [])
            instruction = ir.InlineAsm(kind, "mov.u64 $0, %clock64;", "=l", side_effect=True)
            return builder.call(instruction, [])

        return types.int64(), generate

    def _approximation(name):
        """An instruction of the GPU that is right to some 20 bits."""
        @intrinsic
        def rough(typing, x):
            def generate(context, builder, signature, arguments):
                number = ir.DoubleType()
                kind = ir.FunctionType(number, [number])
                instruction = ir.InlineAsm(kind, f"{name}.approx.ftz.f64 $0, $1;", "=d,d")
                return builder.call(instruction, arguments)

            return types.float64(types.float64), generate

        return rough

    _reciprocal, _reciprocal_root = _approximation("rcp"), _approximation("rsqrt")

    @part
    def divided(a, b):
        """a / b, right to the last bit but for one; the usual one takes twice as long.

        A step of third order from an approximation, and one of correction.
        """
        a = types.float64(a)
        b = types.float64(b)
        rough = _reciprocal(b)
        off = cuda.fma(-b, rough, 1.0)
        y = cuda.fma(cuda.fma(off, off, off), rough, rough)
        q = a * y
        q = cuda.fma(cuda.fma(-b, q, a), y, q)
        return q if q == q else a * rough  # of 0 or infinity

    @part
    def root(x):
        """Square root, by two steps of Newton; NaN below 0."""
        x = types.float64(x)
        y = _reciprocal_root(x)
        half_x = 0.5 * x
        y = cuda.fma(y, cuda.fma(-half_x * y, y, 0.5), y)
        y = cuda.fma(y, cuda.fma(-half_x * y, y, 0.5), y)
        s = x * y
        s = cuda.fma(cuda.fma(-s, s, x), 0.5 * y, s)
        return x if x == 0.0 else s

if config is not None:
    @part
    def first_cell():
        return thread()

    @part
    def cells_at_once():
        return threads()

    @part
    def lane():
        """Number of a thread in its warp."""
        return thread() % WARP

    @part
    def first_tile():
        """First cell of a warp, counted from the first of all."""
        return (thread() // WARP) * (WARP - 1)

    @part
    def tiles_at_once():
        """Faces of all warps of a crew."""
        return (threads() // WARP) * (WARP - 1)

    @part
    def tiles(faces):
        """How many tiles of faces a warp has: what its lanes find at once but for the first."""
        return max(0, (faces - first_tile() + tiles_at_once() - 1) // tiles_at_once())

    @part
    def first_four():
        """Which four of lanes a thread belongs to."""
        return thread() // 4

    @part
    def fours_at_once():
        return threads() // 4

    @part
    def place_in_four():
        return thread() % 4

    @part
    def first_end():
        """Number of the first end of a thread: the first few threads of each warp have one."""
        warp, lane = thread() // WARP, thread() % WARP
        return warp * ENDS_A_WARP + lane if lane < ENDS_A_WARP else 1 << 40

    @part
    def ends_at_once():
        return (threads() // WARP) * ENDS_A_WARP

    @part
    def warp():
        """Number of the warp of a thread in its crew."""
        return thread() // WARP

    @part
    def lanes_at_once():
        """Where each thread of a warp takes, of all passes, those that are for its warp."""
        return WARP

    @part
    def warp_of_flow(velocity):
        """Which warp solves an end: one what flowed out, one what flowed in, one all others."""
        return (0 if velocity > 0.0 else 1 if velocity < 0.0 else 2) % (threads() // WARP - 1)

    @part
    def warp_of_store(number, is_cylinder):
        """Which warp takes a store: two share the cylinders, one all others, the last has none."""
        return (number % 2 if is_cylinder else 2) % (threads() // WARP - 1)

    @part
    def first_pair():
        """The same for pairs and joints, which the last warp has before others do."""
        warp, lane = (threads() - 1 - thread()) // WARP, thread() % WARP
        return warp * ENDS_A_WARP + lane if lane < ENDS_A_WARP else 1 << 40

    @part
    def least(a, b):
        """As `min`, by a comparison alone: the instruction for it takes more care of NaN."""
        return a if a < b else b

    @part
    def greatest(a, b):
        return a if a > b else b

    @part
    def count(clock, column, number):
        """Add to a counter, which few steps do."""
        if number > 0:
            add_to(clock, column, np.float64(number))

    def compiled(kernel, arguments, capability, bounds):
        """A kernel of whole numbers in the assembly language of GPUs; no device is needed.

        Parameters
        ----------
        kernel : callable
        arguments : int
            How many it takes.
        capability : (int, int)
            Compute capability, such as (9, 0).
        bounds : (int, int)
            Most threads of a block, and least blocks of a multiprocessor.

        Returns
        -------
        str
        """
        from numba.cuda import dispatcher

        class Wanted:
            compute_capability = capability

        usual, dispatcher.get_current_device = dispatcher.get_current_device, Wanted
        try:
            code, _ = cuda.compile_ptx(kernel, types.void(*[types.int64] * arguments),
                                       cc=capability, launch_bounds=bounds)
        finally:
            dispatcher.get_current_device = usual
        return code
