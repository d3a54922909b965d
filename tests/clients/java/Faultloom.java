import com.sun.jna.Callback;
import com.sun.jna.Library;
import com.sun.jna.Pointer;
import com.sun.jna.ptr.PointerByReference;

/**
 * The functions of faultloom.h that the program needs. A size_t is a long: 64-bit systems only. Texts go in
 * as bytes, since JNA would otherwise use the platform's own encoding.
 */
interface Faultloom extends Library {
  interface Progress extends Callback {
    int ask(double share, Pointer user);
  }

  int faultloom_abi_version();

  Pointer faultloom_version();

  Pointer faultloom_status_name(int status);

  int faultloom_error_code(Pointer error);

  Pointer faultloom_error_message(Pointer error);

  Pointer faultloom_error_pointer(Pointer error);

  Pointer faultloom_error_details(Pointer error);

  void faultloom_error_free(Pointer error);

  Pointer faultloom_text_data(Pointer text);

  long faultloom_text_size(Pointer text);

  void faultloom_text_free(Pointer text);

  int faultloom_model_from_json(byte[] vehicle, long vehicleSize, byte[] kinds, long kindsSize,
      byte[] rates, long ratesSize, byte[] instruments, long instrumentsSize, byte[] cautions,
      long cautionsSize, Progress progress, Pointer user, PointerByReference model,
      PointerByReference error);

  void faultloom_model_free(Pointer model);

  int faultloom_terminal_count(Pointer model, long[] count, PointerByReference error);

  int faultloom_terminal_name(Pointer model, long index, PointerByReference name,
      PointerByReference error);

  int faultloom_terminal_volts(Pointer model, byte[] situation, long situationSize, double[] volts,
      long capacity, long[] needed, PointerByReference error);

  int faultloom_mode_count(Pointer model, long[] count, PointerByReference error);

  int faultloom_mode_name(Pointer model, long index, PointerByReference name,
      PointerByReference error);

  int faultloom_mode_posteriors(Pointer model, byte[] job, long jobSize, Progress progress,
      Pointer user, double[] posteriors, long capacity, long[] needed, PointerByReference error);

  int faultloom_rank(Pointer model, byte[] job, long jobSize, byte[] options, long optionsSize,
      Progress progress, Pointer user, PointerByReference ranking, PointerByReference error);

  int faultloom_next_step(Pointer model, byte[] job, long jobSize, byte[] options, long optionsSize,
      Progress progress, Pointer user, PointerByReference step, PointerByReference error);
}
