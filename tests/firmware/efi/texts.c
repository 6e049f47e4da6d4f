/* Lets the firmware's own Device Path To Text protocol (UEFI 2.10 §10.6.2) speak: for the path of every option
   in BootOrder, then for every record of \paths.bin beside it (u32 length, then that many bytes). Switches off. */
#include "say.h"

static UINT8 buffer[4 << 20];

static void say_option(UINT16 number) {
    CHAR16 name[] = u"Boot0000";
    static UINT8 option[65536];
    UINTN size = sizeof option;
    for (int i = 0; i < 4; i++)
        name[4 + i] = u"0123456789ABCDEF"[(number >> (12 - 4 * i)) & 15];
    if (FAILED(firmware->runtime->get_variable(name, &GLOBAL_VARIABLE, 0, &size, option)))
        return;
    UINTN at = 6; /* §3.1.3: attributes, length of the path list, description */
    while (at + 1 < size && (option[at] || option[at + 1]))
        at += 2;
    put("\r\n@{\"event\": \"option\", \"name\": ");
    put_string(name);
    put(", \"path\": ");
    put_path(at + 2 < size ? option + at + 2 : 0);
    end();
}

static void say_options(void) {
    static UINT16 order[4096];
    UINTN size = sizeof order;
    if (FAILED(firmware->runtime->get_variable(u"BootOrder", &GLOBAL_VARIABLE, 0, &size, order)))
        return;
    for (UINTN i = 0; i < size / 2; i++)
        say_option(order[i]);
}

static UINTN read_paths(EFI_HANDLE image) {
    EFI_LOADED_IMAGE_PROTOCOL *loaded;
    EFI_FILE_SYSTEM_PROTOCOL *volume;
    EFI_FILE_PROTOCOL *root, *file;
    UINTN size = sizeof buffer;
    if (FAILED(firmware->boot->handle_protocol(image, &LOADED_IMAGE, (void **)&loaded)) ||
        FAILED(firmware->boot->handle_protocol(loaded->device, &FILE_SYSTEM, (void **)&volume)) ||
        FAILED(volume->open_volume(volume, &root)) ||
        FAILED(root->open(root, &file, u"\\paths.bin", FILE_MODE_READ, 0)) || FAILED(file->read(file, &size, buffer)))
        return 0;
    return size;
}

static void say_paths(EFI_HANDLE image) {
    UINTN size = read_paths(image);
    for (UINTN at = 0; at + 4 <= size;) {
        UINTN length = buffer[at] | buffer[at + 1] << 8 | buffer[at + 2] << 16 | (UINTN)buffer[at + 3] << 24;
        at += 4;
        if (length > size - at)
            return;
        put("\r\n@{\"event\": \"text\", \"path\": ");
        put_path(buffer + at);
        end();
        at += length;
    }
}

EFI_STATUS efi_main(EFI_HANDLE image, EFI_SYSTEM_TABLE *table) {
    open_port(table);
    begin(image, "started");
    end();
    say_options();
    say_paths(image);
    power_off();
    return EFI_ABORTED;
}
